"""People who shunt: they divide trains, leave them standing, pick them up again and couple them.

What may be done is what is assumed of vehicles that stand (the reference's `vehicles stand`): they
do not move before a train that is called on draws up to them, or a driver takes them over before a
signal that lets them out, while their track is held for no route. A train is divided, or left,
where it stands whole in one stretch and what it did has been reported. A driver comes only where no
other train on that stretch has one.
"""

from __future__ import annotations

from collections.abc import Iterator

from bellcrank.layout.layout_model import Leg
from bellcrank.simulated.acts import IsCoupled, IsDivided, IsLeft, IsPickedUp
from bellcrank.simulated.coupling import couple, right_before, right_behind
from bellcrank.simulated.driving import Driving
from bellcrank.simulated.handling import Handling
from bellcrank.simulated.news import News
from bellcrank.simulated.train import Train

SHORTEST = 0.1
"""Metres of a train below which it is not divided any more."""

ShuntingAct = IsDivided | IsLeft | IsPickedUp | IsCoupled


class Shunting:
    """What people do with vehicles that stand."""

    def __init__(self, driving: Driving, handling: Handling, news: News) -> None:
        self._driving = driving
        self._handling = handling
        self._ground = driving.ground
        self._placing = driving.placing
        self._fleet = driving.fleet
        self._news = news

    def may_do(self) -> Iterator[ShuntingAct]:
        """What people may do now."""
        for train in self._fleet.catch_up(self._driving.now):
            if not train.can_be_handled or not self._ground.is_stretch(train.ways):
                continue
            if train.driven:
                if train.length >= SHORTEST:
                    yield IsDivided(train.number)
                yield IsLeft(train.number)
                for other in self._touching(train):
                    yield IsCoupled(train.number, other.number)
            elif not self._has_driver_beside(train):
                for signal in self._ways_out(train):
                    yield IsPickedUp(train.number, signal)

    def do(self, act: ShuntingAct) -> None:
        """Do something that is possible now."""
        train = self._fleet[act.train]
        self._placing.settle(train)
        match act:
            case IsDivided():
                self._divide(train)
            case IsLeft():
                train.driven, train.waits_at = False, ""
                self._driving.counts["left standing"] += 1
                self._news.tell("train", f"{train.name} is left standing")
            case IsPickedUp(_, signal):
                self._pick_up(train, signal)
            case IsCoupled(_, other):
                self._couple(train, self._fleet[other])

    def _divide(self, train: Train) -> None:
        rest = self._driving.cut(train)
        rest.ended = True
        self._driving.counts["divided"] += 1
        self._news.tell("train", f"{train.name} is divided: {rest.name} stays behind")

    # ------------------------------------------------------------------ picking up

    def _has_driver_beside(self, train: Train) -> bool:
        """Whether another train with a driver is on the stretch where one stands."""
        stretch = self._ground.stretch_with(train.ways[0].element)
        return any(other.driven for e in stretch for other in self._placing.on(e))

    def _ways_out(self, train: Train) -> Iterator[str]:
        """The signals that let a train out, before it and behind it."""
        if not self._handling.admits("", self._ground.stretch_with(train.ways[0].element)):
            return
        now = self._driving.now
        if self._placing.is_first(train, now) and (signal := self._signal_before(train)):
            yield signal
        if self._placing.is_last(train, now) and (signal := self._signal_behind(train)):
            yield signal

    def _signal_before(self, train: Train) -> str | None:
        way = train.ways[-1]
        passed = {w.element for w in train.ways}
        return self._driving.sight.signal_beyond(Leg(way.element, way.exit), passed)

    def _signal_behind(self, train: Train) -> str | None:
        way = train.ways[0]
        passed = {w.element for w in train.ways}
        return self._driving.sight.signal_beyond(Leg(way.element, way.entry), passed)

    def _pick_up(self, train: Train, signal: str) -> None:
        if self._signal_before(train) != signal:
            train.turned()
        train.driven = True
        self._driving.counts["picked up"] += 1
        self._news.tell("train", f"a driver takes {train.name}, to leave past {signal}")
        self._driving.sets_off_on_sight(train)

    # -------------------------------------------------------------------- coupling

    def _touching(self, train: Train) -> Iterator[Train]:
        """Trains without a driver that touch one, before it or behind it."""
        now = self._driving.now
        for other in (
            right_before(train, self._placing, self._ground, now),
            right_behind(train, self._placing, self._ground, now),
        ):
            if other is None or other.driven or not other.can_be_handled:
                continue
            if self._ground.is_stretch((*train.ways, *other.ways)):
                yield other

    def _couple(self, train: Train, other: Train) -> None:
        """Couple one that touches a train, before it or behind it."""
        now, waits_at = self._driving.now, train.waits_at
        before = right_before(train, self._placing, self._ground, now) is other
        if not before:
            train.turned()
        coupled = couple(train, self._placing, self._ground, now)
        assert coupled is other
        if not before:
            train.turned()
            train.waits_at = waits_at
        self._driving.is_part_of(other, train)
