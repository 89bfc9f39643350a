"""What must lie and show after a list of commands, read off the machine that was proved."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.machine_model import Event, Machine
from bellcrank.readback.readers import Key
from bellcrank.routes.route_model import RouteTable
from bellcrank.routes.route_naming import by_start


@dataclass(frozen=True, slots=True)
class Expected:
    """What a list must have brought about.

    lies: drives and their positions. shows: signals and their aspects.
    alone: whether the list may do nothing else: no other drive is thrown, and no other
        signal comes off.
    """

    of: Key
    lies: dict[str, str]
    shows: dict[str, str]
    alone: bool = False


def expected(layout: Layout, table: RouteTable, machine: Machine) -> Iterator[Expected]:
    """For each route once it is set, in the order of the table."""
    clears = {e.route: e for e in machine.events if e.kind == "signal clears"}
    starting = by_start(table.routes.values())
    for name, route in table.routes.items():
        lies: dict[str, str] = {}
        for clause in clears[name].guard:
            variable = machine.variables[clause[0].variable]
            if len(clause) == 1 and variable.kind == "drive":
                (lies[variable.of],) = clause[0].values
        shows = {
            signal: layout.signals[signal].aspects[0].name
            for signal, routes in starting.items()
            if signal != route.start
            and all(other.name in table.conflicting[name] for other in routes)
        }
        shows[route.start] = route.aspect
        yield Expected(Key("set", name), lies, _shown(layout, shows))


def _shown(layout: Layout, shows: Mapping[str, str]) -> dict[str, str]:
    """Without signals that are only thought of, at which nothing can be seen."""
    return {name: aspect for name, aspect in shows.items() if not layout.signals[name].imagined}


def expected_beside(layout: Layout, table: RouteTable, machine: Machine) -> Iterator[Expected]:
    """For each route once it is cancelled, as the operator's cancelling changes signals and
    drives, and for the layout once it is started up, as the machine begins."""
    cancels: dict[str, list[Event]] = {name: [] for name in table.routes}
    for event in machine.events:
        if event.kind == "cancel" and event.route is not None:
            cancels[event.route].append(event)
    for name, events in cancels.items():
        changed = [machine.variables[v] for event in events for v in event.updates]
        yield Expected(
            Key("cancel", name),
            {},
            _shown(
                layout,
                {v.of: layout.signals[v.of].aspects[0].name for v in changed if v.kind == "signal"},
            ),
            alone=not any(v.kind == "drive" for v in changed),
        )
    yield Expected(
        Key("start up", ""),
        {v.of: v.initial[0] for v in machine.variables.values() if v.kind == "drive"},
        _shown(layout, {s.name: s.aspects[0].name for s in layout.signals.values()}),
        alone=True,
    )
