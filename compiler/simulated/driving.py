"""How trains go: drivers obey signals, fronts and tails come from element to element, and what goes
wrong.

Trains go where drives lie. A train that comes on to an element where another is without being
called on, that comes off the rails since points do not lie for it, or under which points move has
an accident. Nothing here asks a controller whether that should have been so.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Iterator

from bellcrank.layout.layout_model import Edge, Leg, Stop
from bellcrank.simulated.agenda import Agenda
from bellcrank.simulated.coupling import couple, divide
from bellcrank.simulated.detectors import Detectors
from bellcrank.simulated.fleet import Fleet
from bellcrank.simulated.ground import Ground
from bellcrank.simulated.lamps import Lamps
from bellcrank.simulated.motion import NEAR, Motion, phase
from bellcrank.simulated.news import News
from bellcrank.simulated.placing import Placing
from bellcrank.simulated.sight import Sight
from bellcrank.simulated.train import Train

_REACTS = (0.4, 2.0)
"""Seconds until a driver who waits sets off."""


class Driving:
    """All trains.

    counts: what has happened, and how often. passes: how often each signal was passed.
    """

    def __init__(
        self,
        ground: Ground,
        agenda: Agenda,
        news: News,
        rng: random.Random,
        lamps: Lamps,
        detectors: Detectors,
        placing: Placing,
    ) -> None:
        self.ground = ground
        self.placing = placing
        self.fleet = Fleet()
        self.counts: defaultdict[str, int] = defaultdict(int)
        self.passes: defaultdict[str, int] = defaultdict(int)
        self._agenda = agenda
        self._news = news
        self._rng = rng
        self._lamps = lamps
        self.sight = Sight(ground, agenda, lamps, placing)
        self._detectors = detectors
        self._past: dict[str, Train] = {}
        overlap = ground.layout.times.overlap.everywhere / 1000
        # Fast enough to stand before an overlap's time is over.
        self._slowest = max(0.25, ground.longest_berth / (0.4 * overlap))

    @property
    def now(self) -> float:
        """Seconds."""
        return self._agenda.now

    # --------------------------------------------------------------------- trains

    def new_train(self, length: float | None = None) -> Train:
        """A train, not on the track yet. length: metres; drawn by lot if not given."""
        if length is None:
            length = self.ground.room * self._rng.uniform(0.3, 0.45)
        most = self._slowest * self._rng.uniform(1.0, 2.0)
        return self.fleet.add(length, most, self.now)

    def remove(self, train: Train) -> None:
        """A train is not there any more."""
        for way in train.ways:
            self.placing.vacate(train, way)
        self.fleet.remove(train)

    # ------------------------------------------------------------ signals and drives

    def shown(self, signal: str) -> None:
        """A signal shows something else than before."""
        stop = not self._lamps.is_off(signal)
        for train in self.fleet:
            if train.waits_at == signal and not stop:
                self.sets_off_soon(train)
            elif not train.stands:
                if stop and train.driven and self.sight.cannot_stop(train, signal):
                    train.committed.add(signal)
                self.plan(train)

    def told_to_go(self) -> None:
        """Drivers have been told that they may go on."""
        for train in self.fleet:
            if train.waits_at and self._lamps.may_pass(train.waits_at):
                self.sets_off_soon(train)
            elif not train.stands:
                self.plan(train)

    def look_again(self) -> None:
        """Points have come to lie somewhere: whoever moves sees how far it may go now."""
        for train in self.fleet:
            if not train.stands:
                self.plan(train)

    def points_move(self, drive: str) -> None:
        """Points begin to move, under whatever stands there."""
        for element in self.ground.on_drive[drive]:
            for train in self.placing.on(element):
                if not train.broken:
                    self._accident(f"points {drive} move under {train.name} in {element}", train)

    def _accident(self, text: str, *trains: Train) -> None:
        """They move no more."""
        for train in trains:
            train.accident = text
            train.motion.catch_up(self.now)
            train.motion.v = train.motion.a = 0.0
            train.version += 1
        self._news.tell("accident", text)

    # --------------------------------------------------------------------- going

    def sets_off_soon(self, train: Train) -> None:
        """A driver has seen that a signal is off."""
        self._agenda.after(self._rng.uniform(*_REACTS), self._sets_off, train, train.version)

    def _sets_off(self, train: Train, version: int) -> None:
        if train.version != version or train not in self.fleet:
            return
        if train.outside:
            self._comes_in_by_signal(train)
        elif train.waits_at and self._lamps.may_pass(train.waits_at):
            train.waits_at, train.ended = "", False
            self.plan(train)

    def sets_off_on_sight(self, train: Train) -> None:
        """A driver sets off in its own stretch, and looks out for vehicles there."""
        train.called, train.on_sight = False, True
        train.ended, train.waits_at = False, ""
        self.plan(train)
        self._look_out(train)

    def _look_out(self, train: Train) -> None:
        """Whoever runs on sight on the stretch where a train begins to move sees that."""
        own = self.ground.stretch[train.ways[-1].element]
        for other in self.fleet:
            near = any(self.ground.stretch[w.element] == own for w in other.ways)
            if near and other is not train and other.on_sight and not other.stands:
                self.plan(other)

    def _comes_in_by_signal(self, train: Train) -> None:
        signal = train.waits_at
        if not self._lamps.may_pass(signal):
            return
        edge = train.outside
        if any(t is not train and t.coming_from == edge for t in self.fleet):
            self._agenda.after(1.0, self._sets_off, train, train.version)
            return
        self._passes(train, signal)
        self.comes_in(train, edge)

    def comes_in(self, train: Train, edge: str) -> None:
        """A front comes in at an edge."""
        train.outside, train.waits_at, train.ended = "", "", False
        train.coming_from = edge
        train.motion = Motion(0.0, train.most * 0.6, 0.0, self.now)
        at_once = edge not in self.ground.at_edge
        self._enter(train, self.ground.layout.edges[edge], at_once=at_once)
        if not train.broken:
            self.plan(train)

    def plan(self, train: Train) -> None:
        """What a train does now, and when something happens to it next."""
        train.version += 1
        motion = train.motion
        motion.catch_up(self.now)
        if train.broken or train.outside:
            return
        distance, signal = self.sight.ahead(train) if train.driven else (0.0, "")
        if motion.v == 0.0 and distance <= NEAR:
            self._stands(train, signal)
            return
        motion.a, seconds = phase(motion.v, train.most, distance)
        if motion.v == 0.0 and motion.a <= 0.0:
            self._stands(train, signal)
            return
        times = [seconds]
        if not train.leaving:
            times.append(motion.time_to(train.total - motion.x))
        first = train.lengths[0] if not train.coming_from else 0.0
        times.append(motion.time_to(first - train.tail))
        self._agenda.after(min(times), self._goes_on, train, train.version)

    def _stands(self, train: Train, signal: str) -> None:
        train.motion.a = 0.0
        train.committed.clear()
        train.stood_since = self.now
        train.waits_at, train.ended = signal, True
        if signal:
            if self._lamps.may_pass(signal):
                self.sets_off_soon(train)
        elif train.called:
            self._draws_up(train)

    def _draws_up(self, train: Train) -> None:
        """A train that was called on has come to others: they move as one from now on."""
        other = couple(train, self.placing, self.ground, self.now)
        if other is None:
            return
        self.is_part_of(other, train)

    def is_part_of(self, other: Train, train: Train) -> None:
        """A train has been coupled to another, and is none of its own any more."""
        self.fleet.remove(other)
        self._past = {s: train if t is other else t for s, t in self._past.items()}
        self.counts["coupled"] += 1
        self._news.tell("train", f"{train.name} is coupled to {other.name}")
        leg = Leg(train.ways[-1].element, train.ways[-1].exit)
        passed = {way.element for way in train.ways}
        first = self.placing.is_first(train, self.now)
        if first and self.sight.signal_beyond(leg, passed) is not None:
            self.plan(train)  # up to the signal that stands before them now

    def cut(self, train: Train) -> Train:
        """Divide a train somewhere; what is left behind, without a driver."""
        behind = train.length * self._rng.uniform(0.3, 0.6)
        rest = self.fleet.add(behind, train.most, self.now)
        rest.driven = False
        divide(train, rest, self.placing, self.now)
        return rest

    # ------------------------------------------------------ from element to element

    def _goes_on(self, train: Train, version: int) -> None:
        if train.version != version:
            return
        motion = train.motion
        motion.catch_up(self.now)
        if motion.v < 1e-4 and motion.a < 0:
            motion.v = 0.0
        if train.coming_from and train.tail >= -NEAR:
            self._detectors.in_time(self._section(train.ways[0].element))
            train.coming_from = ""
        elif not train.coming_from and train.tail >= train.lengths[0] - NEAR:
            self._tail_leaves(train)
            if train not in self.fleet:
                return
        if not train.leaving and motion.x >= train.total - NEAR:
            motion.x = max(motion.x, train.total)
            self._front_crosses(train)
            if train.broken or train not in self.fleet:
                return
        self.plan(train)

    def _section(self, element: str) -> str:
        return self.ground.layout.section_of[element]

    def _tail_leaves(self, train: Train) -> None:
        first = train.ways[0]
        if len(train.ways) == 1:
            if train.leaving:
                self.remove(train)
                self.counts["left"] += 1
                self._news.tell("train", f"{train.name} has left")
            return
        section = self._section(train.ways[1].element)
        if section != self._section(first.element):
            self._detectors.in_time(section)
        train.ways.pop(0)
        train.motion.x -= train.lengths.pop(0)
        self.placing.vacate(train, first)

    def _front_crosses(self, train: Train) -> None:
        """A front comes to the joint at the end of the track on which its train lies."""
        way = train.ways[-1]
        leg = Leg(way.element, way.exit)
        signal = self.ground.signal_at.get(leg)
        end = self.ground.where(leg)
        if isinstance(end, Stop):
            self._accident(f"{train.name} runs into the stop at {way.element}", train)
            return
        section = self._section(way.element)
        if isinstance(end, Edge) or self._section(end.element) != section:
            self._detectors.in_time(section)
        if signal is not None:
            self._passes(train, signal)
        if isinstance(end, Edge):
            train.leaving = True
            return
        self._enter(train, end)

    def _passes(self, train: Train, signal: str) -> None:
        lamps = self._lamps
        if not train.driven:
            self._news.tell("fault", f"{train.name} rolls past {signal}")
            return
        if not lamps.is_off(signal) and signal not in train.committed:
            if not train.disobeys:
                self._accident(f"{train.name} passes {signal} at stop", train)
                return
            self._news.tell("fault", f"{train.name} passes {signal} at stop")
        train.disobeys = False
        seen = lamps.called_on if signal in train.committed else lamps.calls_on
        train.called = train.on_sight = seen(signal)
        train.committed.discard(signal)
        train.last_signal = signal
        lamps.pass_by(signal)
        self._past[signal] = train
        self.counts["signals passed"] += 1
        self.passes[signal] += 1

    def _enter(self, train: Train, leg: Leg, *, at_once: bool = False) -> None:
        """A front comes on to an element."""
        if train.broken:
            return
        others = [other for other in self.placing.on(leg.element) if other is not train]
        if others and not train.on_sight:
            text = f"{train.name} runs into {others[0].name} in {leg.element}"
            self._accident(text, train, *others)
            return
        way = self.placing.way_from(leg)
        if way is None:
            self._accident(f"{train.name} comes off the rails in {leg.element}", train)
            return
        train.ways.append(way)
        train.lengths.append(self.ground.length[way.element])
        self.placing.occupy(train, way, at_once=at_once)
        self._look_out(train)

    # -------------------------------------------------------------- what is really so

    def last_past(self, signal: str) -> tuple[bool, Train | None]:
        """Whether a train has passed a signal since it was shown off last; and the last one that
        passed it, if it is still on the track."""
        train = self._past.get(signal)
        there = train is not None and train in self.fleet
        return self._lamps.is_passed(signal), train if there else None

    def outside(self, edge: str) -> Iterator[Train]:
        """Trains that wait outside an edge, or have not come in there with all they have."""
        return (t for t in self.fleet if edge in (t.outside, t.coming_from))
