"""That nothing stays held for ever: what must always hold for the railway to come to rest.

A route that is set can be cancelled; a train under way can always go on to where
its route ends; behind it only its own tail is left on held track, and that goes
after it, or vehicles that it left standing, which are taken off; and what is held is held
for a route that is set. Then every state leads
to one in which no route is set, except that tails could wait for each other in a
ring, which the prover looks for on the side.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, pairwise, product

from bellcrank.layout.layout_model import Leg, TrackEnd
from bellcrank.machine.entries import calls_on
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
from bellcrank.machine.machine_model import Event, Invariant, Is, Variable, is_, is_not
from bellcrank.routes.route_model import Route


@dataclass(frozen=True, slots=True)
class Entries:
    """The events by which a front comes into a part, by the leg where it does.

    clear: into one that is clear, by what that becomes too. joins: by which it draws up to a
    train there.
    """

    clear: Mapping[tuple[Leg, str | None], Event]
    joins: Mapping[Leg, Sequence[Event]]


def progress_invariants(frame: Frame, events: Iterable[Event]) -> Iterator[Invariant]:
    """The clauses of the property `rest`. events: those of the machine."""
    clear: dict[tuple[Leg, str | None], Event] = {}
    joins: defaultdict[Leg, list[Event]] = defaultdict(list)
    for event in events:
        if event.entry is not None and event.kind == "enters":
            clear[event.entry, event.updates[frame.track[event.of].name].get(CLEAR)] = event
        elif event.entry is not None and event.kind == "joins":
            joins[event.entry].append(event)
    entries = Entries(clear, joins)
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
        ways_on = [entries.clear[beyond, here(following.passage)].guard]
        if calls_on(frame, route, number + 1):
            ways_on += [joins.guard for joins in entries.joins[beyond]]
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
        if frame.released_by_section(route):
            behind.append((frame.held[section], (route.name,)))
        said = f"{section} stays held for {route.name}, though another train stands there"
        own = is_(frame.track[step.part], CLEAR, passing(step.passage), STANDING)
        yield Invariant("rest", implies(behind, [own]), said)
        for no_other in no_other_beside(frame, route, section):
            yield Invariant("rest", implies(behind, [no_other]), said)


def no_other_beside(frame: Frame, route: Route, section: str) -> Iterator[Is]:
    """That of a section of a route the parts off its way are clear. Where its signal stands in
    the middle of the section its own tail may be before that, or what it left behind."""
    mine = {s.part for s in frame.steps[route.name]}
    found: defaultdict[str, list[str]] = defaultdict(list)
    legs: list[TrackEnd] = [frame.layout.signals[route.start].before]
    for leg in legs:
        for passage in frame.parts.by_exit[leg] if isinstance(leg, Leg) else ():
            if frame.part(passage.part).section == section:
                found[passage.part] += [passing(passage), STANDING]
                further = frame.layout.joined[passage.entry]
                if further not in legs:
                    legs.append(further)
    for part in frame.parts.in_section[section]:
        if part not in mine:
            yield is_(frame.track[part], CLEAR, *found[part])
