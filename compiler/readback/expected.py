"""What must lie and show once a route is set, read off the machine that was proved."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from bellcrank.layout.model import Layout
from bellcrank.machine.model import Machine
from bellcrank.routes.model import RouteTable
from bellcrank.routes.naming import by_start


@dataclass(frozen=True, slots=True)
class Expected:
    """What a route needs, as the event by which its signal clears demands it.

    lies: drives and their positions. shows: signals and their aspects.
    """

    route: str
    lies: dict[str, str]
    shows: dict[str, str]


def expected(layout: Layout, table: RouteTable, machine: Machine) -> Iterator[Expected]:
    """For each route, in the order of the table."""
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
        yield Expected(name, lies, {**shows, route.start: route.aspect})
