"""Trains that are coupled to others which stand before them: they move as one from then on."""

from __future__ import annotations

from bellcrank.simulated.ground import Ground
from bellcrank.simulated.motion import NEAR
from bellcrank.simulated.placing import Placing
from bellcrank.simulated.train import Train

GAP = 0.02
"""Metres before other vehicles at which a train comes to stand."""

_REACH = 2 * GAP
"""Metres between vehicles that can be coupled."""


def couple(train: Train, placing: Placing, ground: Ground, now: float) -> Train | None:
    """Couple a train that stands to the one right before its front, and return that, which is part
    of it from now on.

    None if nobody is there, or not all of what stands there is in the stretch where the front is:
    it may not be moved then.
    """
    other = _right_before(train, placing, now)
    if other is None or other.coming_from or other.leaving:
        return None
    way = train.ways[-1]
    stretch = ground.stretch
    if any(stretch[w.element] != stretch[way.element] for w in other.ways):
        return None
    for each in (train, other):
        each.motion.catch_up(now)
    if (other.ways[0].element, other.ways[0].entry) != (way.element, way.entry):
        other.turned()
    if (other.ways[0].element, other.ways[0].entry) != (way.element, way.entry):
        return None
    front = train.total - train.lengths[-1] + other.motion.x
    tail = train.tail
    for its in other.ways:
        placing.replace(its, other, None if its is other.ways[0] else train)
    train.ways += other.ways[1:]
    train.lengths += other.lengths[1:]
    train.length = front - tail
    train.motion.x = front
    train.waits_at = other.waits_at
    return other


def _right_before(train: Train, placing: Placing, now: float) -> Train | None:
    way = train.ways[-1]
    front = train.motion.x - (train.total - train.lengths[-1])
    for other in placing.on(way.element):
        there = other is not train and other.stands and not other.outside
        if there and -NEAR <= placing.place(other, way, now) - front <= _REACH:
            return other
    return None
