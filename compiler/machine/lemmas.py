"""Clauses that help a proof by induction.

They say how the parts of a state hang together while all goes as it should: a
train under way has a route set for it, what a set route holds is clear, a train
that reaches across a joint is on both sides of it. They are candidates that the
prover must prove like anything else; a wrong one costs time, never soundness.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from bellcrank.layout.layout_model import Leg
from bellcrank.machine.entries import calls_on
from bellcrank.machine.frame import (
    CLEAR,
    CLOSING,
    FREE,
    IDLE,
    INSIDE,
    PUT_BACK,
    SET,
    Frame,
    here,
    implies,
    passing,
    under_way,
)
from bellcrank.machine.machine_model import Clause, is_, is_not
from bellcrank.machine.parts import Part, Passage
from bellcrank.machine.progress import no_other_beside
from bellcrank.machine.safety import needed_positions, onward, onward_holds
from bellcrank.routes.route_model import Route


def lemmas(frame: Frame) -> Iterator[Clause]:
    """All candidate clauses of a machine."""
    for part in frame.parts.parts.values():
        for leg in dict.fromkeys(p.exit for p in part.passages):
            yield from _across(frame, part, leg)
    for name, approach in frame.approaches.items():
        yield from _approach(frame, name, approach)
    for name, variable in frame.signal.items():
        routes = frame.onward[name]
        if routes:
            closing = [is_(frame.route[r.name], CLOSING) for r in routes]
            yield implies([(variable, (PUT_BACK,))], closing)
    for route in frame.table.routes.values():
        yield from _route(frame, route)
    yield from _by_holder(frame)
    if not frame.locking.derived:
        yield from _locked_as_written(frame)


def _across(frame: Frame, part: Part, leg: Leg) -> Iterator[Clause]:
    """What holds of a train that is about to cross a joint, or reaches across it."""
    beyond = frame.layout.joined.get(leg)
    if not isinstance(beyond, Leg):
        return
    variable = frame.track[part.name]
    passages = [p for p in part.passages if p.exit == leg]
    target = frame.part(frame.parts.part_of[beyond.element])
    entered = [v for p in frame.parts.by_entry[beyond] for v in (here(p), passing(p))]
    reaching = (variable, [passing(p) for p in passages])
    yield implies([reaching], [is_(frame.track[target.name], *entered)])
    # Its front just beyond the joint, the train's route has it there.
    fronts = (frame.track[target.name], [here(p) for p in frame.parts.by_entry[beyond]])
    at = [
        is_(frame.route[route.name], under_way(step))
        for route, step in _entering(frame, leg, beyond)
    ]
    in_approach = any(leg == p.exit for a in frame.approaches.values() for p in a)
    if not in_approach:
        yield implies([reaching, fronts], at)
    if frame.signal_at(leg) is not None:
        return
    front = (variable, [here(p) for p in passages])
    crossings = frame.crossing[leg]
    held = frame.held[target.section]
    if not in_approach:
        yield implies([front], [is_(held, *(r.name for r, _ in crossings))])
    for route, step in crossings:
        at_last = is_(frame.route[route.name], under_way(step - 1))
        yield implies([front, (held, (route.name,))], [at_last])


def _entering(frame: Frame, leg: Leg, beyond: Leg) -> list[tuple[Route, int]]:
    """The routes that lead over a joint, and the step that begins there."""
    signal = frame.signal_at(leg)
    if signal is not None:
        return [(route, 1) for route in frame.onward[signal.name]]
    return list(frame.crossing[leg])


def _approach(frame: Frame, name: str, approach: tuple[Passage, ...]) -> Iterator[Clause]:
    """A train that is coming in finds the track up to the first signal free."""
    for index, passage in enumerate(approach):
        front = (frame.track[passage.part], [here(passage)])
        section = frame.part(passage.part).section
        beyond = dict.fromkeys(frame.part(p.part).section for p in approach[index + 1 :])
        for other in beyond:
            if other == section:
                continue
            yield implies([front], [is_(frame.held[other], FREE)])
            for clause in frame.clear(other):
                yield implies([front], clause)
        for later in approach[index + 1 :]:
            if frame.part(later.part).section == section:
                yield implies([front], [is_(frame.track[later.part], CLEAR)])
    first = frame.layout.edges[name]
    part = frame.part(frame.parts.part_of[first.element])
    entered = [v for p in frame.parts.by_entry[first] for v in (here(p), passing(p))]
    outside = frame.edge[name]
    yield (is_(outside, INSIDE), is_(frame.track[part.name], *entered))


def _locked_as_written(frame: Frame) -> Iterator[Clause]:
    """What written rules keep up as long as a route is set, which is released whole.
    With derived locking that follows from what is held; here that may be taken over."""
    whole = {r.name for r in frame.table.routes.values() if not frame.released_by_section(r)}
    for lock in frame.locking.locks:
        if not lock.when and {lock.first, lock.second} <= whole:
            yield (is_(frame.route[lock.first], IDLE), is_(frame.route[lock.second], IDLE))
    for name in sorted(whole):
        for drive, position in frame.needs[name].items():
            yield (is_(frame.route[name], IDLE), frame.lies_or_goes(drive, position))


def _by_holder(frame: Frame) -> Iterator[Clause]:
    """Where a drive lies or goes, by which route holds its section: one clause for all
    routes that need it alike."""
    needing: dict[tuple[str, str, str], list[str]] = defaultdict(list)
    for route in frame.table.routes.values():
        for drive, position, _ in needed_positions(frame, route):
            place = frame.drive_section(route, drive)
            if place:
                needing[route.sections[place - 1], drive, position].append(route.name)
    for (section, drive, position), names in needing.items():
        yield implies([(frame.held[section], names)], [frame.lies_or_goes(drive, position)])


def _route(frame: Frame, route: Route) -> Iterator[Clause]:
    stage = frame.route[route.name]
    signal = frame.signal[route.start]
    steps = frame.steps[route.name]
    waiting = [SET, CLOSING]
    yield implies([(signal, (route.name,))], [is_(stage, SET)])
    for place, section in enumerate(route.sections, start=1):
        held = frame.held[section]
        first, last = frame.first_step(route.name, place), frame.last_step(route.name, place)
        before = [under_way(k) for k in range(1, first)]
        until = [under_way(k) for k in range(1, last + 1)]
        if place == len(route.sections):
            until = frame.stages(route.name)
        # Held from the request until the front has gone beyond, and longer.
        yield implies([(stage, waiting + until)], [is_(held, route.name)])
        if not frame.released_by_section(route):
            # Held to the end, if no other route may be set over it.
            yield implies([(stage, waiting + frame.stages(route.name))], [is_(held, route.name)])
        yield implies([(held, (route.name,))], [is_not(stage, IDLE)])
        if place < len(route.sections):
            following = frame.held[route.sections[place]]
            yield implies([(held, (route.name,))], [is_(following, route.name)])
        if section in route.sections_clear:
            for clause in frame.clear(section):
                yield implies([(stage, waiting + before)], clause)
                if not frame.locking.derived:
                    yield implies([(signal, (route.name,))], clause)
                yield implies([(stage, [CLOSING, *before])], clause)
            for no_other in no_other_beside(frame, route, section):
                yield implies(
                    [(stage, frame.stages(route.name)), (held, (route.name,))], [no_other]
                )
        for number, step in enumerate(steps, start=1):
            called = calls_on(frame, route, number)
            if step.section == place and first < number and not called:
                inside = [under_way(k) for k in range(first, number)]
                yield implies([(stage, inside)], [is_(frame.track[step.part], CLEAR)])
    for drive, position, under in needed_positions(frame, route):
        lies, goes = frame.lies(drive, position), frame.lies_or_goes(drive, position)
        place = frame.drive_section(route, drive)
        if frame.locking.derived and place:
            # Who throws the drive has its section held: with the holder named, no other
            # route's request can make these false, and nobody has to look why.
            holder = (frame.held[route.sections[place - 1]], (route.name,))
            yield implies([holder], [is_(stage, SET), lies])
        else:
            yield implies([(stage, waiting)], [goes])
            # With the stage named: the request of a route that this one locks needs it idle.
            yield implies([(signal, (route.name,)), (stage, (SET,))], [lies])
            yield implies([(stage, [CLOSING, *under])], [lies])
            yield implies([(stage, under)], [lies])
        # The same of less, for where a signal may be put back that was not off yet.
        yield implies([(signal, (PUT_BACK,)), (stage, (CLOSING,))], [lies])
    # While its train is under way, the front is where the stage says.
    for number, step in enumerate(steps[:-1], start=1):
        if step.passage is not None:
            front = is_(frame.track[step.part], here(step.passage))
            yield implies([(stage, (under_way(number),))], [front])
    if route.overlap is None:
        return
    under = [under_way(k) for k in range(1, len(steps) + 1)]
    for section in route.overlap_sections:
        yield implies([(stage, waiting + under)], [onward_holds(frame, route, section)])
        for clause in frame.clear(section):
            yield implies([(stage, waiting + under)], clause)
        for further in onward(frame, route, section):
            # The way on may be set, but no train that came before is still on it.
            yield implies(
                [(stage, waiting + under), (frame.held[section], (further.name,))],
                [is_(frame.route[further.name], SET, CLOSING)],
            )
