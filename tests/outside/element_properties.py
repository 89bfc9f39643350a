"""What must hold of a simulated railway, stated of its elements as the reference says it."""

from __future__ import annotations

from collections.abc import Iterator

from element_interlocking import Sight
from element_state import CLOSING, IDLE, SET, Stage, State
from plain_railway import PlainRoute, lies_for


def wrong(sight: Sight, state: State) -> Iterator[tuple[str, str]]:
    """The properties that a state violates, each with what is wrong."""
    if state.accident is not None:
        yield state.accident
        return  # what comes after an accident is not laid down
    rail = sight.railway
    for route, stage in zip(rail.routes, state.stages, strict=True):
        if stage == IDLE:
            if state.signals[route.start] == route.number:
                yield "signals", f"{route.start} is off for route {route.number}, not set"
            continue
        if stage in (SET, CLOSING):
            for drive, position in route.demands():
                if state.drives[drive] != position:
                    yield "drives", f"{drive} goes otherwise than a set route needs"
        if state.signals[route.start] == route.number:
            yield from _signal_wrong(sight, state, route, stage)
        if stage.name == "way":
            yield from _way_wrong(sight, state, route, stage)
    for one, other in rail.never:
        if {state.stages[one].name, state.stages[other].name} <= {"set", "closing"}:
            yield f"never {one} {other}", "both are set"


def _signal_wrong(
    sight: Sight, state: State, route: PlainRoute, stage: Stage
) -> Iterator[tuple[str, str]]:
    if stage != SET:
        yield "signals", f"{route.start} is off for a route that is not set"
    for drive, position in route.demands():
        if not sight.lies(state, drive, position):
            yield "signals", f"{route.start} is off though {drive} does not lie {position}"
    for section in (*route.berth_or_all, *route.overlap):
        if sight.occupied(state, section):
            yield "signals", f"{route.start} is off though {section} is not clear"
    for section in route.sections:
        if state.held.get(section) != route.number:
            yield "signals", f"{route.start} is off though {section} is not held for it"
    for section in route.overlap:
        if not _onward_holds(sight, state, route, section):
            yield "signals", f"{route.start} is off though {section} is held for another"


def _onward_holds(sight: Sight, state: State, route: PlainRoute, section: str) -> bool:
    holder = state.held.get(section)
    return holder is None or sight.railway.routes[holder].start == route.end


def _way_wrong(
    sight: Sight, state: State, route: PlainRoute, stage: Stage
) -> Iterator[tuple[str, str]]:
    rail = sight.railway
    for drive, position in route.positions.items():
        last = max(i for i, w in enumerate(route.ways) if drive in dict(lies_for(w, rail)))
        if stage.place < last and not sight.lies(state, drive, position):
            yield "drives", f"{drive} does not lie {position} before the train"
    if stage.place < len(route.ways):
        for drive, position in (*route.overlap_positions.items(), *route.flank.items()):
            if not sight.lies(state, drive, position):
                yield "drives", f"{drive} does not lie {position} beside the train"
        for section in route.overlap:
            if not _onward_holds(sight, state, route, section):
                yield "overlaps", f"{section} beyond {route.end} is held for another route"
            if sight.occupied(state, section):
                yield "overlaps", f"{section} beyond {route.end} is occupied"
        for drive, position in route.overlap_positions.items():
            if not sight.lies(state, drive, position):
                yield "overlaps", f"{drive} beyond {route.end} does not lie {position}"
    train = state.trains.get(stage.train)
    if train is None:
        return
    own = [
        way
        for way in train.body
        if way in route.ways and rail.section_of[way.element] != route.sections[-1]
    ]
    place = stage.place
    if not train.leaving and 0 <= place < len(route.ways) - 1 and _on_its_way(sight, route, place):
        # Wherever the drives have led it, its front is on its way still, if one leads on there.
        front = train.body[-1]
        own += [
            front
            for other in rail.routes
            if front in other.ways and _on_its_way(sight, other, other.ways.index(front))
        ][:1]
    for way in own:
        section = rail.section_of[way.element]
        holder = state.held.get(section)
        if holder is None or (holder != route.number and way not in rail.routes[holder].ways):
            yield "release", f"{section} is let go under the train"


def _on_its_way(sight: Sight, route: PlainRoute, place: int) -> bool:
    """Whether a place on the way of a route is not on the stretch where it ends."""
    return not sight.is_end(route, place) or any(
        way.element not in sight.railway.pieces for way in route.ways[place:]
    )


def astray(sight: Sight, state: State) -> bool:
    """Whether drives have led a train off the way of its route."""
    return any(
        state.trains[stage.train].body[-1] not in route.ways
        for route, stage in sight.under_way(state)
        if stage.train in state.trains
    )
