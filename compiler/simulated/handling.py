"""What people do with trains: they let them come, put them on the track, turn them back and take
them off, where that is assumed of them (`controller/assumed.py`, and the reference's list)."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import takewhile

from bellcrank.layout.layout_model import Edge, Leg, Way
from bellcrank.simulated.acts import Comes, IsPut, IsTaken, TurnsBack
from bellcrank.simulated.detectors import Detectors
from bellcrank.simulated.driving import Driving
from bellcrank.simulated.fleet import Fleet
from bellcrank.simulated.ground import Ground
from bellcrank.simulated.lamps import Lamps
from bellcrank.simulated.news import News
from bellcrank.simulated.placing import Placing
from bellcrank.simulated.sight import MARGIN, Sight
from bellcrank.simulated.train import Train

HandlingAct = Comes | IsPut | TurnsBack | IsTaken

Admits = Callable[[str, tuple[str, ...]], bool]
"""Whether a train may come in over some elements at an edge, or (with no edge) be put on them;
whoever works the railway knows whether they are held for a route."""


class Handling:
    """admits: told by whoever works the railway; all is admitted unless it is said."""

    def __init__(
        self,
        driving: Driving,
        news: News,
        lamps: Lamps,
        detectors: Detectors,
    ) -> None:
        self.admits: Admits = lambda _edge, _elements: True
        self._driving = driving
        self._ground: Ground = driving.ground
        self._placing: Placing = driving.placing
        self._fleet: Fleet = driving.fleet
        self._sight: Sight = driving.sight
        self._news = news
        self._lamps = lamps
        self._detectors = detectors

    def may_do(self) -> Iterator[HandlingAct]:
        """What people may do with trains now, without putting one anywhere."""
        for edge in self._ground.layout.edges:
            if self._may_come(edge):
                yield Comes(edge)
        for train in self._fleet.catch_up(self._driving.now):
            if self.can_turn(train):
                yield TurnsBack(train.number)
            if self._may_be_taken(train):
                yield IsTaken(train.number)

    @property
    def any_come(self) -> bool:
        """Whether there is an edge at which trains ever come in."""
        ground = self._ground
        return any(
            ground.at_edge.get(edge) in ground.onward or ground.approach(edge) is not None
            for edge in ground.layout.edges
        )

    def may_put(self) -> Iterator[IsPut]:
        """Where a train may be put on the track: before a signal, where all is clear and no train
        is on its way from an edge."""
        for signal in self._ground.layout.signals:
            if self._way_to_put(signal) is not None:
                yield IsPut(signal)

    def do(self, act: HandlingAct) -> None:
        """Do something that is possible now."""
        match act:
            case Comes(edge):
                self._comes(edge)
            case IsPut(signal):
                self._put(signal)
            case TurnsBack(number):
                self._turn_back(self._fleet[number])
            case IsTaken(number):
                self._take_off(self._fleet[number])

    # ------------------------------------------------------------------- coming in

    def _may_come(self, edge: str) -> bool:
        ground = self._ground
        if any(self._driving.outside(edge)):
            return False
        signal = ground.at_edge.get(edge)
        if signal is not None:
            return signal in ground.onward
        approach = ground.approach(edge)
        if approach is None or any(self._placing.on(element) for element in approach):
            return False
        leg = ground.layout.edges[edge]
        leaves = (t for t in self._fleet if t.leaving)
        if any(t.ways[-1].element == leg.element for t in leaves):
            return False
        return self.admits(edge, approach)

    def _comes(self, edge: str) -> None:
        train = self._driving.new_train()
        self._driving.counts["came"] += 1
        self._news.tell("train", f"{train.name} comes to {edge}")
        signal = self._ground.at_edge.get(edge)
        if signal is None:
            self._driving.comes_in(train, edge)
            return
        train.outside, train.waits_at, train.ended = edge, signal, True
        if self._lamps.is_off(signal):
            self._driving.sets_off_soon(train)

    # -------------------------------------------------------------- put on and taken off

    def _way_to_put(self, signal: str) -> Way | None:
        """The way on which a train may be put that stands before a signal."""
        ground = self._ground
        leg = ground.layout.signals[signal].before
        if isinstance(leg, Edge):
            return None
        stretch = ground.stretch_with(leg.element)
        if self._detectors.is_on(ground.layout.section_of[leg.element]):
            return None
        if self._is_awaited(stretch) or not self.admits("", stretch):
            return None
        for entry in ground.layout.elements[leg.element].kind.legs:
            way = self._placing.way_from(Leg(leg.element, entry)) if entry != leg.leg else None
            if way is not None and way.exit == leg.leg:
                return way
        return None

    def _is_awaited(self, stretch: tuple[str, ...]) -> bool:
        """Whether a train is on its way to a stretch from an edge, with no signal in between."""
        for edge in self._ground.layout.edges:
            approach = self._ground.approach(edge) or ()
            before = list(takewhile(lambda element: element not in stretch, approach))
            if len(before) < len(approach) and any(map(self._placing.on, before)):
                return True
        return False

    def _put(self, signal: str) -> None:
        way = self._way_to_put(signal)
        assert way is not None
        length = self._ground.length[way.element]
        train = self._driving.new_train(min(0.8 * length, 0.45 * self._ground.room))
        train.ways, train.lengths = [way], [length]
        train.motion.x = length - MARGIN
        train.waits_at, train.ended = signal, True
        self._placing.occupy(train, way, at_once=True)
        self._news.tell("train", f"{train.name} is put before {signal}")
        if self._lamps.is_off(signal):
            self._driving.sets_off_soon(train)

    def _may_be_taken(self, train: Train) -> bool:
        if train.broken:
            return True
        return train.can_be_handled

    def _take_off(self, train: Train) -> None:
        self._placing.settle(train)
        self._driving.remove(train)
        self._driving.counts["taken off"] += 1
        self._news.tell("train", f"{train.name} is taken off the track")

    # ------------------------------------------------------------------- turning back

    def can_turn(self, train: Train) -> bool:
        """Whether a train may turn back: it stands where it can go no further, whole in one
        stretch, and a signal right behind it lets it out."""
        if not train.can_be_handled or not train.driven:
            return False
        if not self._ground.is_stretch(train.ways):
            return False
        if not self._placing.is_last(train, self._driving.now):
            return False
        leg = Leg(train.ways[0].element, train.ways[0].entry)
        return self._sight.signal_beyond(leg, {w.element for w in train.ways}) is not None

    def _turn_back(self, train: Train) -> None:
        self._placing.settle(train)
        train.turned()
        self._driving.counts["turned"] += 1
        self._news.tell("train", f"{train.name} turns back")
        self._driving.sets_off_on_sight(train)
