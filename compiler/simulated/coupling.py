"""Trains that are coupled to others which stand before them, and move as one from then on; and
trains that are divided."""

from __future__ import annotations

from bellcrank.layout.layout_model import Leg, Way
from bellcrank.simulated.ground import Ground
from bellcrank.simulated.motion import NEAR, Motion
from bellcrank.simulated.placing import Placing
from bellcrank.simulated.train import Train, back

GAP = 0.0002
"""Metres before other vehicles at which a train comes to stand: nothing to be seen."""

_REACH = 0.001
"""Metres between vehicles that can be coupled."""


def couple(train: Train, placing: Placing, ground: Ground, now: float) -> Train | None:
    """Couple a train that stands to the one right before its front, and return that, which is part
    of it from now on.

    None if nobody is there, or not all of what stands there is in the stretch where the front is:
    it may not be moved then.
    """
    other = right_before(train, placing, ground, now)
    if other is None or other.coming_from or other.leaving:
        return None
    way = train.ways[-1]
    stretch = ground.stretch
    if any(stretch[w.element] != stretch[way.element] for w in other.ways):
        return None
    for each in (train, other):
        each.motion.catch_up(now)
    # It begins on the element where the front is, or right beyond that.
    begins = (Leg(way.element, way.entry), ground.where(Leg(way.element, way.exit)))
    if _begin(other) not in begins:
        other.turned()
    if _begin(other) not in begins:
        return None
    shared = _begin(other) == begins[0]
    before = train.total - (train.lengths[-1] if shared else 0.0)
    for its in other.ways:
        there = shared and its is other.ways[0]
        placing.replace(its, other, None if there else train)
    train.ways += other.ways[shared:]
    train.lengths += other.lengths[shared:]
    train.length += other.length
    train.motion.x = before + other.motion.x
    train.waits_at = other.waits_at
    train.driven = train.driven or other.driven
    return other


def _begin(train: Train) -> Leg:
    """The leg by which a train came on to the element where its tail is."""
    return Leg(train.ways[0].element, train.ways[0].entry)


def divide(train: Train, rest: Train, placing: Placing, now: float) -> None:
    """Divide a train: `rest`, which is nowhere yet, is its rear from now on. Both keep their
    directions and their speed."""
    train.motion.catch_up(now)
    cut = train.tail + rest.length
    rest.motion = Motion(cut, train.motion.v, 0.0, now)
    begin, gone = 0.0, 0
    for way, length in zip(train.ways, train.lengths, strict=True):
        if begin < cut - NEAR:
            rest.ways.append(way)
            rest.lengths.append(length)
            if begin + length <= cut + NEAR:
                gone += 1
                placing.replace(way, train, rest)
            else:
                placing.occupy(rest, way)
        begin += length
    train.motion.x -= sum(train.lengths[:gone])
    train.ways, train.lengths = train.ways[gone:], train.lengths[gone:]
    train.length -= rest.length


def right_before(train: Train, placing: Placing, ground: Ground, now: float) -> Train | None:
    """The train that stands so near before a front that the two can be coupled."""
    way = train.ways[-1]
    start = train.motion.x - (train.total - train.lengths[-1])
    return _reached(train, way, start, train.lengths[-1] - start, placing, ground, now)


def right_behind(train: Train, placing: Placing, ground: Ground, now: float) -> Train | None:
    """The train that stands so near behind a tail."""
    way = back(train.ways[0])
    start = train.lengths[0] - train.tail
    return _reached(train, way, start, train.tail, placing, ground, now)


def _reached(
    train: Train, way: Way, start: float, left: float, placing: Placing, ground: Ground, now: float
) -> Train | None:
    """What stands right beyond a place on a way, on its element or the next one. left: metres of
    the way beyond that place."""
    found = placing.nearest(train, way, start, now)
    if found is None and left <= _REACH:
        beyond = ground.where(Leg(way.element, way.exit))
        following = placing.way_from(beyond) if isinstance(beyond, Leg) else None
        if following is not None:
            found = placing.nearest(train, following, -left, now)
    if found is None or found[0] > _REACH or not found[1].stands:
        return None
    return found[1]
