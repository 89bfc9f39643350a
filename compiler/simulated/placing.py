"""Where vehicles are: which trains are on each element, and how far along it."""

from __future__ import annotations

from math import inf

from bellcrank.layout.layout_model import Leg, Way
from bellcrank.simulated.detectors import Detectors
from bellcrank.simulated.drives import Drives
from bellcrank.simulated.ground import Ground
from bellcrank.simulated.motion import NEAR
from bellcrank.simulated.train import Train, back


class Placing:
    """The trains on each element of the track."""

    def __init__(self, ground: Ground, detectors: Detectors, drives: Drives) -> None:
        self._ground = ground
        self._detectors = detectors
        self._drives = drives
        self._on: dict[str, list[Train]] = {name: [] for name in ground.layout.elements}

    def on(self, element: str) -> list[Train]:
        """The trains on an element, in the order in which they came."""
        return list(self._on[element])

    def occupy(self, train: Train, way: Way, *, at_once: bool = False) -> None:
        """A train comes on to an element. at_once: as `Detectors.comes_on`."""
        self._on[way.element].append(train)
        self._detectors.comes_on(self._ground.layout.section_of[way.element], at_once=at_once)

    def vacate(self, train: Train, way: Way) -> None:
        """A train is not on an element any more."""
        self._on[way.element].remove(train)
        self._detectors.goes_off(self._ground.layout.section_of[way.element])

    def replace(self, way: Way, train: Train, other: Train | None) -> None:
        """What was of one train on an element is of another now, or None: of one that is there
        already."""
        self._on[way.element].remove(train)
        if other is not None:
            self._on[way.element].append(other)
        else:
            self._detectors.goes_off(self._ground.layout.section_of[way.element])

    def settle(self, train: Train) -> None:
        """What is under a train has been reported by now."""
        for way in train.ways:
            self._detectors.in_time(self._ground.layout.section_of[way.element])

    def way_from(self, leg: Leg) -> Way | None:
        """The way that a train takes from a leg, as drives lie; None if none does."""
        for way in self._ground.ways(leg):
            if all(self._drives.lies(drive) == position for drive, position in way.when):
                return way
        return None

    def place(self, train: Train, way: Way, now: float) -> float:
        """How far from the beginning of a way the nearest part of a train on it is; infinite if
        it is not on it."""
        train.motion.catch_up(now)
        begin, places = 0.0, [inf]
        for its, length in zip(train.ways, train.lengths, strict=True):
            if its.element == way.element:
                same = its.entry == way.entry
                places.append(train.tail - begin if same else length - (train.motion.x - begin))
            begin += length
        return max(0.0, min(places))

    def nearest_on(self, way: Way, now: float) -> float | None:
        """How far from the beginning of a way the nearest vehicles on it are."""
        return min((self.place(t, way, now) for t in self._on[way.element]), default=None)

    def nearest(
        self, train: Train, way: Way, start: float, now: float
    ) -> tuple[float, Train] | None:
        """The nearest vehicles of another train beyond a place on a way, and how far they are."""
        others = (other for other in self._on[way.element] if other is not train)
        places = ((self.place(other, way, now) - start, other) for other in others)
        ahead = (found for found in places if found[0] >= -NEAR)
        return min(ahead, key=lambda found: found[0], default=None)

    def is_first(self, train: Train, now: float) -> bool:
        """Whether no other vehicles are before a front, on its element."""
        start = train.motion.x - (train.total - train.lengths[-1])
        return self.nearest(train, train.ways[-1], start, now) is None

    def is_last(self, train: Train, now: float) -> bool:
        """Whether no other vehicles are behind a tail, on its element."""
        start = train.lengths[0] - train.tail
        return self.nearest(train, back(train.ways[0]), start, now) is None
