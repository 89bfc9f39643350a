"""Vehicles that stand: trains at the start, wagons left behind, what is put down by hand.

A stretch of track with such vehicles is occupied like any other; they have no direction
and do not move until a person does something. A train that stands on several stretches
stands on each of them. Because vehicles may come to stand on any number of stretches
before anything else happens, all that is shown of the machine holds from every placing
of standing vehicles at the start, and with each drive in any of its positions.

What stands on one stretch becomes a train again before a signal that lets it out. What
stands behind it then, and is coupled to it, is taken off: drawn away with it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from bellcrank.machine.frame import (
    CLEAR,
    FREE,
    STANDING,
    Frame,
    here,
    under_way,
)
from bellcrank.machine.machine_model import Clause, Event, is_, is_not
from bellcrank.machine.parts import Part, Passage
from bellcrank.machine.trains import not_held


def standing_events(frame: Frame) -> Iterator[Event]:
    """All events of vehicles that stand, in the order of the layout."""
    approaching = _approaching(frame)
    drives: defaultdict[str, list[Clause]] = defaultdict(list)
    for drive in frame.layout.drives.values():
        for name in dict.fromkeys(frame.parts.part_of[e] for e in drive.elements):
            drives[name].append((is_(frame.drive[drive.name], *drive.positions),))
    for part in frame.parts.parts.values():
        yield _stands(frame, part, approaching[part.name], drives[part.name])
        yield _taken_off(frame, part)
        if part.passages:
            yield _uncoupled(frame, part, drives[part.name])
        for passage in part.passages:
            yield from _ready_to_leave(frame, passage)


def _approaching(frame: Frame) -> defaultdict[str, list[Passage]]:
    """For each part the passages from which a train comes on to it from an edge, before
    it reads a signal."""
    found: defaultdict[str, list[Passage]] = defaultdict(list)
    for approach in frame.approaches.values():
        for index, passage in enumerate(approach):
            # A train in a section is in the way of one that comes into another of its parts.
            section = frame.part(passage.part).section
            for name in frame.parts.in_section[section]:
                before = [p for p in approach[:index] if p.part != name]
                found[name] += [p for p in before if p not in found[name]]
    return found


def _stands(
    frame: Frame, part: Part, approaching: list[Passage], drives_lie: list[Clause]
) -> Event:
    """Vehicles are put down, or have stood there since before all began."""
    track = frame.track[part.name]
    guard: list[Clause] = [(is_(track, CLEAR),), *not_held(frame, part.section)]
    # A train that is in the section already may be on its way to this part of it.
    others = (p for p in frame.parts.in_section[part.section] if p != part.name)
    guard += [(is_(frame.track[p], CLEAR, STANDING),) for p in others]
    guard += [(is_not(frame.track[p.part], here(p)),) for p in approaching]
    return Event(
        f"stands {part.name}",
        "stands",
        "surroundings",
        part.name,
        f"vehicles stand still in {part.name}",
        (*guard, *drives_lie),
        {track.name: {CLEAR: STANDING}},
    )


def _taken_off(frame: Frame, part: Part) -> Event:
    """Vehicles that stand are lifted off, or drawn away with those before them."""
    return Event(
        f"taken off {part.name}",
        "taken off",
        "surroundings",
        part.name,
        f"the vehicles that stand in {part.name} are taken off or drawn away",
        ((is_(frame.track[part.name], STANDING),),),
        {frame.track[part.name].name: {STANDING: CLEAR}},
    )


def _uncoupled(frame: Frame, part: Part, drives_lie: list[Clause]) -> Event:
    """What is left of a train on a part stays behind, be it its rear or all of it.

    Nothing of it is left standing further back. Its front only where it need not go on: not
    on the way of its route, before the part where that ends.
    """
    track = frame.track[part.name]
    values = list(track.trains)
    guard: list[Clause] = [(is_(track, *values),)]
    for leg in dict.fromkeys(p.entry for p in part.passages):
        entered = [v for v, train in track.trains.items() if train.passage.entry == leg]
        guard += [(is_not(track, *entered), *clause) for clause in frame.nothing_into(leg)]
    for leg in dict.fromkeys(p.exit for p in part.passages):
        fronts = [here(p) for p in part.passages if p.exit == leg]
        for route, step in frame.crossing[leg]:
            going_on = is_not(frame.route[route.name], under_way(step - 1))
            guard.append((is_not(track, *fronts), going_on))
    return Event(
        f"uncoupled {part.name}",
        "uncoupled",
        "surroundings",
        part.name,
        f"vehicles are uncoupled and left standing in {part.name}",
        (*guard, *drives_lie),
        {track.name: dict.fromkeys(values, STANDING)},
    )


def _ready_to_leave(frame: Frame, passage: Passage) -> Iterator[Event]:
    """Vehicles before a signal become a train that goes by it.

    Not on track that a route under way still holds behind its own train.
    """
    signal = frame.signal_at(passage.exit)
    if signal is None or not frame.onward[signal.name]:
        return
    track = frame.track[passage.part]
    section = frame.part(passage.part).section
    ending = [r.name for r in frame.by_section[section] if r.sections[-1] == section]
    yield Event(
        f"ready to leave {signal.name}: {passage.name}",
        "ready to leave",
        "surroundings",
        signal.name,
        f"the vehicles in {passage.part} are ready to leave past {signal.name}",
        (
            (is_(track, STANDING),),
            (is_(frame.held[section], FREE, *ending),),
            *((frame.lies(d, p),) for d, p in passage.positions),
        ),
        {track.name: {STANDING: here(passage)}},
        span=signal.span,
    )
