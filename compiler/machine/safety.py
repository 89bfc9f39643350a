"""What must always hold, stated from the track and never from the locking rules.

Each safety property is a set of clauses; it holds if all of them are true in
every reachable state. Nothing here reads the rules in force: what a
rule forgot shows as a clause that becomes false.
"""

from __future__ import annotations

from collections.abc import Iterator

from bellcrank.machine.frame import (
    CLOSING,
    DERAILED,
    FREE,
    IDLE,
    MEETING,
    SET,
    Frame,
    demands,
    here,
    implies,
    moving,
    passing,
    under_way,
)
from bellcrank.machine.machine_model import Clause, Invariant, Is, is_, is_not
from bellcrank.routes.route_model import Route


def invariants(frame: Frame) -> Iterator[Invariant]:
    """Every clause of every safety property, and of expectations `never with`."""
    for part in frame.parts.parts.values():
        variable = frame.track[part.name]
        yield Invariant(
            "meetings", (is_not(variable, MEETING),), f"two trains meet in {part.section}"
        )
    for part in frame.parts.parts.values():
        variable = frame.track[part.name]
        if DERAILED in variable.values:
            yield Invariant(
                "derailments",
                (is_not(variable, DERAILED),),
                f"a train comes off the rails in {part.name}",
            )
    yield from drives_under_trains(frame)
    for route in frame.table.routes.values():
        yield from _drives_needed(frame, route)
        yield from _signal(frame, route)
        yield from _overlap(frame, route)
    yield from _release(frame)
    yield from _never_together(frame)


def needed_positions(frame: Frame, route: Route) -> Iterator[tuple[str, str, list[str]]]:
    """Each drive and position a route needs, with the stages in which its train is
    under way and still needs it."""
    steps = len(frame.steps[route.name])
    for what, positions in demands(route).items():
        for drive, position in positions:
            if what == "way":
                elements = set(frame.layout.drives[drive].elements)
                last = max(
                    number
                    for number, step in enumerate(frame.steps[route.name], start=1)
                    if step.passage and elements & {w.element for w in step.passage.ways}
                )
                yield drive, position, [under_way(k) for k in range(1, last)]
            else:
                yield drive, position, [under_way(k) for k in range(1, steps + 1)]


def onward_holds(frame: Frame, route: Route, section: str) -> Is:
    """That a section is held by no route, or by one that goes on from this route's end."""
    return is_(frame.held[section], FREE, *(r.name for r in onward(frame, route, section)))


def onward(frame: Frame, route: Route, section: str) -> list[Route]:
    """The routes from the signal where a route ends that lead over a section."""
    return [r for r in frame.onward[route.end] if section in r.sections]


def drives_under_trains(frame: Frame) -> Iterator[Invariant]:
    for drive in frame.layout.drives.values():
        variable = frame.drive[drive.name]
        throwing = [moving(p) for p in drive.positions]
        for part, values in frame.over(drive).items():
            yield Invariant(
                "drives",
                (is_not(variable, *throwing), is_not(frame.track[part], *values)),
                f"{drive.name} is {'thrown' if drive.frog is None else 'switched'} under a train "
                f"in {part}",
            )


def _drives_needed(frame: Frame, route: Route) -> Iterator[Invariant]:
    stage = frame.route[route.name]
    for drive, position, under in needed_positions(frame, route):
        yield Invariant(
            "drives",
            implies([(stage, (SET, CLOSING))], [frame.lies_or_goes(drive, position)]),
            f"{drive} is not sent {position}, though {route.name} is set and needs it so",
        )
        if under:
            yield Invariant(
                "drives",
                implies([(stage, under)], [frame.lies(drive, position)]),
                f"{drive} does not lie {position}, though the train of {route.name} needs it so",
            )


def _signal(frame: Frame, route: Route) -> Iterator[Invariant]:
    signal = frame.signal[route.start]
    off = [(signal, (route.name,))]
    said = f"{route.start} is off for {route.name}"
    yield Invariant(
        "signals",
        implies(off, [is_(frame.route[route.name], SET)]),
        f"{said}, which is not set",
    )
    for positions in demands(route).values():
        for drive, position in positions:
            yield Invariant(
                "signals",
                implies(off, [frame.lies(drive, position)]),
                f"{said} though {drive} does not lie {position}",
            )
    for section in route.sections_clear:
        for clause in frame.clear(section):
            yield Invariant(
                "signals", implies(off, clause), f"{said} though {section} is not clear"
            )
    for section in route.sections:
        yield Invariant(
            "signals",
            implies(off, [is_(frame.held[section], route.name)]),
            f"{said} though {section} is not held for it",
        )
    for section in route.overlap_sections:
        yield Invariant(
            "signals",
            implies(off, [onward_holds(frame, route, section)]),
            f"{said} though {section}, in its overlap, is held for another route",
        )


def _overlap(frame: Frame, route: Route) -> Iterator[Invariant]:
    if route.overlap is None:
        return
    stage = frame.route[route.name]
    under = [under_way(k) for k in range(1, len(frame.steps[route.name]) + 1)]
    said = f"the train of {route.name} may overrun {route.end}"
    for section in route.overlap_sections:
        yield Invariant(
            "overlaps",
            implies([(stage, under)], [onward_holds(frame, route, section)]),
            f"{said}, and {section} is held for another route",
        )
        for clause in frame.clear(section):
            yield Invariant(
                "overlaps",
                implies([(stage, under)], clause),
                f"{said}, and a train stands in {section}",
            )
    for drive, position in route.overlap_positions:
        yield Invariant(
            "overlaps",
            implies([(stage, under)], [frame.lies(drive, position)]),
            f"{said}, and {drive} does not lie {position}",
        )


def _release(frame: Frame) -> Iterator[Invariant]:
    """A train on the way of a route, before the part where it ends, is on held track."""
    for leg, crossings in frame.crossing.items():
        if not crossings:
            continue
        part = frame.part(frame.parts.part_of[leg.element])
        variable = frame.track[part.name]
        passages = [p for p in part.passages if p.exit == leg]
        values = [here(p) for p in passages]
        if all(_leaves_section(frame, route, step) for route, step in crossings):
            values += [passing(p) for p in passages]
        names = [route.name for route, _ in crossings]
        yield Invariant(
            "release",
            implies([(variable, values)], [is_(frame.held[part.section], *names)]),
            f"a train under way is in {part.section}, which no route holds for it",
        )


def _leaves_section(frame: Frame, route: Route, step: int) -> bool:
    """Whether a route comes into another section with a step: within the section in
    which it ends, a train stands as at its end."""
    steps = frame.steps[route.name]
    return steps[step - 2].section != steps[step - 1].section


def _never_together(frame: Frame) -> Iterator[Invariant]:
    for expectation in frame.locking.expectations:
        if expectation.never:
            one, other = expectation.routes
            both = [(frame.route[name], (SET, CLOSING)) for name in (one, other)]
            yield Invariant(
                expectation.name,
                implies(both, ()),
                f"{one} and {other} are both set",
            )


def at_rest(frame: Frame) -> list[Clause]:
    """That no route is set, no signal is off and no drive is moving."""
    rest: list[Clause] = [(is_(v, IDLE),) for v in frame.route.values()]
    rest += [(is_(v, v.values[0]),) for v in frame.signal.values()]
    for drive in frame.layout.drives.values():
        rest.append((is_(frame.drive[drive.name], *drive.positions),))
    return rest
