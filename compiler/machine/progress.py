"""That nothing stays held for ever: what must always hold for the railway to come to rest.

A route that is set can be cancelled; a train under way can always go on to where
its route ends; behind it only its own tail is left on held track, and that goes
after it, or vehicles that it left standing, which are taken off; and what is held is held
for a route that is set. Then every state leads
to one in which no route is set, except that tails could wait for each other in a
ring, which the prover looks for on the side.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import chain, pairwise, product

from bellcrank.layout.layout_model import Leg
from bellcrank.machine.frame import (
    CLEAR,
    CLOSING,
    GONE_ON,
    IDLE,
    STANDING,
    Frame,
    here,
    implies,
    passing,
    under_way,
)
from bellcrank.machine.machine_model import Event, EventKind, Invariant, Variable, is_, is_not
from bellcrank.routes.route_model import Route

Entries = Mapping[tuple[EventKind, Leg, str | None], Event]
"""The events by which a front comes into a part, by their kind, by the leg where it does,
and by what a part becomes that was clear, or, if it joins, that had vehicles standing."""


def progress_invariants(frame: Frame, events: Iterable[Event]) -> Iterator[Invariant]:
    """The clauses of the property `rest`. events: those of the machine."""
    entries: dict[tuple[EventKind, Leg, str | None], Event] = {
        (
            e.kind,
            e.entry,
            e.updates[frame.track[e.of].name].get(CLEAR if e.kind == "enters" else STANDING),
        ): e
        for e in events
        if e.entry is not None and e.kind in ("enters", "joins")
    }
    for route in frame.table.routes.values():
        stage = frame.route[route.name]
        signal = frame.signal[route.start]
        yield Invariant(
            "rest",
            implies([(stage, (CLOSING,))], [is_not(signal, route.name)]),
            f"{route.name} is being cancelled while {route.start} is off for it",
        )
        for section in route.sections:
            yield Invariant(
                "rest",
                implies([(frame.held[section], (route.name,))], [is_not(stage, IDLE)]),
                f"{section} stays held for {route.name}, which is not set",
            )
        yield from _goes_on(frame, route, entries)
        yield from _only_its_tail(frame, route)


def _goes_on(frame: Frame, route: Route, entries: Entries) -> Iterator[Invariant]:
    stage = frame.route[route.name]
    steps = frame.steps[route.name]
    for number, (step, following) in enumerate(pairwise(steps), start=1):
        said = f"the train of {route.name} cannot go on from {step.part}"
        at = [(stage, (under_way(number),))]
        beyond = frame.layout.joined[step.exit]
        assert isinstance(beyond, Leg)
        if following.passage is None:
            yield Invariant("rest", implies(at, ()), said)
            continue
        enters = entries["enters", beyond, here(following.passage)]
        ways_on = [enters.guard]
        if route.calling_on and number + 1 == len(steps):
            joining = (entries.get(("joins", beyond, v)) for v in (None, here(following.passage)))
            ways_on += [joins.guard for joins in joining if joins is not None]
        for clauses in product(*ways_on):
            yield Invariant("rest", implies(at, chain.from_iterable(clauses)), said)


def _only_its_tail(frame: Frame, route: Route) -> Iterator[Invariant]:
    stage = frame.route[route.name]
    steps = frame.steps[route.name]
    for number, step in enumerate(steps[:-1], start=1):
        if step.passage is None or step.section == steps[-1].section:
            continue
        beyond = [under_way(k) for k in range(number + 1, len(steps) + 1)]
        beyond += [GONE_ON] if route.overlap is not None else []
        section = route.sections[step.section - 1]
        behind: list[tuple[Variable, Sequence[str]]] = [(stage, beyond)]
        if frame.locking.derived or frame.released_by_section(route):
            behind.append((frame.held[section], (route.name,)))
        said = f"{section} stays held for {route.name}, though another train stands there"
        own = is_(frame.track[step.part], CLEAR, passing(step.passage), STANDING)
        yield Invariant("rest", implies(behind, [own]), said)
        mine = {s.part for s in steps}
        for part in frame.parts.in_section[section]:
            if part not in mine:
                yield Invariant("rest", implies(behind, [is_(frame.track[part], CLEAR)]), said)
