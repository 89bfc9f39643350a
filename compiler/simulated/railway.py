"""The simulated railway: what is on it, and what happens next.

It goes from event to event (a discrete-event simulation): a front comes to a joint, a tail leaves
an element, a train has its speed or begins to brake, a drive has arrived, a report comes. Between
two of them all is known by formula (`motion.py`).

Trains go where drives lie. A train that comes on to an element where another is without being
called on, that comes off the rails since points do not lie for it, or under which points move has
an accident. Nothing here asks a controller whether that should have been so.

What drivers, people and detectors do is what is assumed of them (`controller/assumed.py`): drivers
stop before signals at stop and take one that was passed to be at stop until it was off anew; a
section is reported occupied before a front leaves it and before a tail comes into it.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from heapq import heappop, heappush
from math import inf
from typing import Any, Literal

from bellcrank.layout.layout_model import Edge, Layout, Leg, Stop, Way
from bellcrank.routes.route_model import Route, RouteTable
from bellcrank.simulated.ground import Ground, ground_of
from bellcrank.simulated.motion import NEAR, Motion, braking, braking_hard, phase

MARGIN = 0.03
"""Metres before a signal or a stop at which a train comes to stand."""

GAP = 0.02
"""Metres before other vehicles."""

_REACTS = (0.4, 2.0)
"""Seconds until a driver who waits sets off."""

_SHARE = 0.6
"""Of the time that a report or a drive may take at most; it takes no longer here."""


class SimulationError(Exception):
    """Something that cannot be done on the railway now, as a sentence without its full stop."""


@dataclass(frozen=True, slots=True)
class Reported:
    """What a detector or a contact says. value: of a drive the position; empty while it lies in
    none.
    at: milliseconds by the clock of the railway."""

    kind: Literal["occupied", "clear", "lies"]
    of: str
    value: str = ""
    at: float = 0.0


@dataclass(frozen=True, slots=True)
class Happened:
    """Something for people, as a sentence without its full stop. at: milliseconds."""

    at: float
    kind: Literal["train", "accident", "fault"]
    text: str


@dataclass(frozen=True, slots=True)
class Act:
    """Something that people may do now. key: what `do` knows it by. text: what it is, for a
    button."""

    key: str
    text: str


@dataclass(slots=True, eq=False)
class Train:
    """Vehicles that move as one.

    ways: those on which it lies, its tail first; lengths: theirs. The motion's x is where the
    front is, from the beginning of the first way.
    coming_from: the edge outside which its tail still is. leaving: its front has left by an edge.
    waits_at: the signal at stop before which it stands. ended: it stands where it can go no
    further.
    called: it was called on by the last signal. committed: the signals that went to stop when it
    could not stop before them any more.
    """

    number: int
    length: float
    most: float
    ways: list[Way] = field(default_factory=list)
    lengths: list[float] = field(default_factory=list)
    motion: Motion = field(default_factory=Motion)
    coming_from: str = ""
    outside: str = ""
    leaving: bool = False
    waits_at: str = ""
    ended: bool = False
    called: bool = False
    broken: bool = False
    committed: set[str] = field(default_factory=set)
    disobeys: bool = False
    version: int = 0
    stood_since: float = 0.0
    last_signal: str = ""

    @property
    def name(self) -> str:
        return f"train {self.number}"

    @property
    def total(self) -> float:
        return sum(self.lengths)

    @property
    def tail(self) -> float:
        return self.motion.x - self.length

    @property
    def stands(self) -> bool:
        return self.motion.v == 0.0 and self.motion.a <= 0.0

    def turned(self) -> None:
        """Have its front where its tail was."""
        self.motion.x = self.total - self.tail
        self.ways = [Way(w.element, w.exit, w.entry, w.when, w.frogs) for w in reversed(self.ways)]
        self.lengths.reverse()


@dataclass(slots=True)
class _Drive:
    """lies: None while it moves. dead: it does not move any more."""

    lies: str | None
    goal: str
    version: int = 0
    dead: bool = False


@dataclass(slots=True)
class _Detector:
    """said: what it reported last. stuck: what it says whatever is so. deaf: its next report is
    lost."""

    said: bool = False
    version: int = 0
    stuck: bool | None = None
    deaf: bool = False


@dataclass(slots=True)
class _Lamp:
    """shows: an aspect. passed: a train has passed since it was shown."""

    shows: str
    passed: bool = False


class SimulatedRailway:
    """now: milliseconds by its own clock. accidents: what has gone wrong, in its order.

    counts: what has happened, and how often. passes: how often each signal was passed.
    drivers_wait: whether they pass a signal only once they are told to, though it is off.
    admits: whether a train may come in at an edge where no signal stands; whoever works the railway
        knows whether the track there is held for a route.
    """

    def __init__(self, layout: Layout, table: RouteTable, seed: int = 0) -> None:
        self.ground: Ground = ground_of(layout, table, seed)
        self.layout = layout
        self.table = table
        self.rng = random.Random(f"railway {seed}")
        self.accidents: list[Happened] = []
        self.admits: Callable[[str, tuple[str, ...]], bool] = lambda _edge, _elements: True
        self.counts: defaultdict[str, int] = defaultdict(int)
        self.passes: defaultdict[str, int] = defaultdict(int)
        self._now = 0.0
        self._queue: list[tuple[float, int, Callable[..., None], tuple[Any, ...]]] = []
        self._number = 0
        self._trains: dict[int, Train] = {}
        self._named = 0
        self._on: dict[str, list[Train]] = {name: [] for name in layout.elements}
        self._in: dict[str, int] = dict.fromkeys(layout.sections, 0)
        self._lamps = {name: _Lamp(self.ground.stop(name)) for name in layout.signals}
        self._drives = {
            name: _Drive(d.positions[0], d.positions[0]) for name, d in layout.drives.items()
        }
        self._detectors = {
            name: _Detector() for name, section in layout.sections.items() if section.detected
        }
        self._past: dict[str, Train] = {}
        self.drivers_wait = False
        self._told_to_go: set[str] = set()
        self._reports: list[Reported] = []
        self._happened: list[Happened] = []
        overlap = layout.times.overlap.everywhere / 1000
        # Fast enough to stand before an overlap's time is over.
        self._slowest = max(0.25, self.ground.longest_berth / (0.4 * overlap))

    # ---------------------------------------------------------------------- time

    @property
    def now(self) -> float:
        return self._now * 1000

    def next_at(self) -> float | None:
        """When something happens next of itself, in milliseconds."""
        return self._queue[0][0] * 1000 if self._queue else None

    def run_until(self, at: float) -> None:
        """Let time pass until a moment, in milliseconds."""
        until = at / 1000
        while self._queue and self._queue[0][0] * 1000 <= at:
            time, _, act, what = heappop(self._queue)
            self._now = max(self._now, time)
            act(*what)
        self._now = max(self._now, until)

    def _after(self, seconds: float, act: Callable[..., None], *what: Any) -> None:
        if seconds < inf:
            self._number += 1
            heappush(self._queue, (self._now + max(0.0, seconds), self._number, act, what))

    # ------------------------------------------------------------- what is told of it

    def take_reports(self) -> list[Reported]:
        """What has been reported since this was last asked, in its order."""
        found, self._reports = self._reports, []
        return found

    def all_reports(self) -> list[Reported]:
        """How every detector and contact stands now."""
        self._reports = []
        found: list[Reported] = []
        for name, detector in self._detectors.items():
            detector.version += 1
            detector.said = self._in[name] > 0 if detector.stuck is None else detector.stuck
            found.append(Reported("occupied" if detector.said else "clear", name, at=self.now))
        for name, drive in self._drives.items():
            if self.layout.drives[name].detected:
                found.append(Reported("lies", name, drive.lies or "", self.now))
        return found

    def take_happened(self) -> list[Happened]:
        """What has happened since this was last asked."""
        found, self._happened = self._happened, []
        return found

    def _tell(self, kind: Literal["train", "accident", "fault"], text: str) -> None:
        happened = Happened(self.now, kind, text)
        self._happened.append(happened)
        if kind == "accident":
            self.accidents.append(happened)
        del self._happened[:-500]

    # ------------------------------------------------------------ signals and drives

    def show(self, signal: str, aspect: str) -> None:
        """A signal shows an aspect from now on."""
        lamp = self._lamps[signal]
        if lamp.shows == aspect:
            return
        stop = aspect == self.ground.stop(signal)
        lamp.shows = aspect
        lamp.passed = False
        for train in list(self._trains.values()):
            if train.waits_at == signal and not stop:
                self._after(self.rng.uniform(*_REACTS), self._sets_off, train, train.version)
            elif not train.stands:
                if stop and self._cannot_stop(train, signal):
                    train.committed.add(signal)
                self._plan(train)

    def _cannot_stop(self, train: Train, signal: str) -> bool:
        """Whether a train is so near to a signal that it cannot stop any more."""
        train.motion.catch_up(self._now)
        distance, _ = self._sees(train, beyond_stop=signal)
        return distance < inf and braking_hard(train.motion.v) > distance

    def is_off(self, signal: str) -> bool:
        """Whether a driver takes a signal to be off."""
        lamp = self._lamps[signal]
        return lamp.shows != self.ground.stop(signal) and not lamp.passed

    def _may_pass(self, signal: str) -> bool:
        """Whether a driver passes a signal now."""
        told = not self.drivers_wait or signal in self._told_to_go
        return told and self.is_off(signal)

    def tell_drivers(self, signal: str | None = None) -> None:
        """Drivers who wait for it are told to go on: past a signal, or all of them."""
        if signal is None:
            self.drivers_wait = False
        else:
            self._told_to_go.add(signal)
        for train in list(self._trains.values()):
            if train.waits_at and self._may_pass(train.waits_at):
                self._after(self.rng.uniform(*_REACTS), self._sets_off, train, train.version)
            elif not train.stands:
                self._plan(train)

    def throw(self, drive: str, position: str) -> None:
        """A drive begins to move to a position."""
        state = self._drives[drive]
        if state.dead:
            return
        state.version += 1
        if state.lies != position:
            state.lies = None
            self._moves_under(drive)
        state.goal = position
        self._after(self._takes(drive), self._arrives, drive, state.version)

    def _takes(self, drive: str) -> float:
        wiring = self.layout.hardware.wirings.get(drive)
        own = 0
        if wiring is not None:
            own = max(wiring.milliseconds or 0, wiring.settles or 0)
        if own:
            return own / 1000
        most = self.layout.times.drive.of(drive)
        return self.rng.uniform(0.1, _SHARE) * most / 1000

    def _moves_under(self, drive: str) -> None:
        for element in self.ground.on_drive[drive]:
            for train in list(self._on[element]):
                if not train.broken:
                    self._accident(train, f"points {drive} move under {train.name} in {element}")

    def _arrives(self, drive: str, version: int) -> None:
        state = self._drives[drive]
        if state.version != version:
            return
        state.lies = state.goal
        if self.layout.drives[drive].detected:
            self._reports.append(Reported("lies", drive, state.goal, self.now))
        for train in self._trains.values():
            if not train.stands:
                self._plan(train)

    # ----------------------------------------------------------------- detectors

    def _changed(self, section: str, *, at_once: bool = False) -> None:
        detector = self._detectors.get(section)
        if detector is None or detector.stuck is not None:
            return
        truth = self._in[section] > 0
        detector.version += 1
        if truth == detector.said:
            return
        if truth and at_once:
            self._report(section)
            return
        most = self.layout.times.section_report.of(section) / 1000
        self._after(
            self.rng.uniform(0.02, _SHARE) * most, self._reports_now, section, detector.version
        )

    def _reports_now(self, section: str, version: int) -> None:
        if self._detectors[section].version == version:
            self._report(section)

    def _report(self, section: str) -> None:
        detector = self._detectors[section]
        detector.version += 1
        truth = self._in[section] > 0 if detector.stuck is None else detector.stuck
        if truth == detector.said:
            return
        detector.said = truth
        if detector.deaf:
            detector.deaf = False
            return
        self._reports.append(Reported("occupied" if truth else "clear", section, at=self.now))

    def _in_time(self, section: str) -> None:
        """A section that is occupied has been reported so by now."""
        if section in self._detectors and self._in[section] > 0:
            self._report(section)

    # --------------------------------------------------------------------- trains

    def trains(self) -> list[Train]:
        """All trains, on the track and waiting outside."""
        for train in self._trains.values():
            train.motion.catch_up(self._now)
        return list(self._trains.values())

    def _new_train(self, length: float | None = None) -> Train:
        self._named += 1
        own = length if length is not None else self.ground.room * self.rng.uniform(0.3, 0.45)
        train = Train(self._named, own, self._slowest * self.rng.uniform(1.0, 2.0))
        train.motion.since = self._now
        train.stood_since = self._now
        self._trains[train.number] = train
        return train

    def _occupy(self, train: Train, way: Way, *, at_once: bool = False) -> None:
        section = self.layout.section_of[way.element]
        self._on[way.element].append(train)
        self._in[section] += 1
        if self._in[section] == 1:
            self._changed(section, at_once=at_once)

    def _vacate(self, train: Train, way: Way) -> None:
        section = self.layout.section_of[way.element]
        self._on[way.element].remove(train)
        self._in[section] -= 1
        if self._in[section] == 0:
            self._changed(section)

    def _accident(self, train: Train, text: str) -> None:
        self._break(train)
        self._tell("accident", text)

    def _break(self, train: Train) -> None:
        """A train moves no more."""
        train.broken = True
        train.motion.catch_up(self._now)
        train.motion.v = train.motion.a = 0.0
        train.version += 1

    def _sets_off(self, train: Train, version: int) -> None:
        if train.version != version or train.number not in self._trains:
            return
        if train.outside:
            self._comes_in_by_signal(train)
        elif train.waits_at and self._may_pass(train.waits_at):
            train.waits_at, train.ended = "", False
            self._plan(train)

    def _sees(self, train: Train, beyond_stop: str = "") -> tuple[float, str]:
        """How far a train may go before it has to stop, and for what: a signal, or nothing with a
        name.

        beyond_stop: the one signal that is looked for, whatever it shows.
        """
        if train.leaving:
            return inf, ""
        way = train.ways[-1]
        ahead = train.total - train.motion.x
        near = self._nearest(train, way, train.motion.x - (train.total - train.lengths[-1]))
        if near is not None:
            return max(0.0, near - GAP), ""
        horizon = braking(train.most) + 2.0
        while ahead <= horizon:
            leg = Leg(way.element, way.exit)
            signal = self.ground.signal_at.get(leg)
            if signal is not None and signal == beyond_stop:
                return ahead, signal
            if (
                signal is not None
                and not self._may_pass(signal)
                and signal not in train.committed
                and not (train.disobeys and not beyond_stop)
            ):
                return max(0.0, ahead - MARGIN), signal
            end = self.ground.where(leg)
            if isinstance(end, Stop):
                return max(0.0, ahead - MARGIN), ""
            if isinstance(end, Edge):
                return inf, ""
            following = self._way_from(end)
            if following is None:
                return inf, ""
            near = self._nearest(train, following, 0.0)
            if near is not None:
                return max(0.0, ahead + near - GAP), ""
            way = following
            ahead += self.ground.length[way.element]
        return inf, ""

    def _way_from(self, leg: Leg) -> Way | None:
        """The way that a train takes from a leg, as drives lie."""
        for way in self.ground.ways(leg):
            if all(self._drives[drive].lies == position for drive, position in way.when):
                return way
        return None

    def _nearest(self, train: Train, way: Way, start: float) -> float | None:
        """How far the nearest vehicles ahead are on a way, for one that may see them: a train that
        was called on."""
        if not train.called:
            return None
        others = (other for other in self._on[way.element] if other is not train)
        places = (self._place(other, way) for other in others)
        return min((place - start for place in places if place >= start - NEAR), default=None)

    def _place(self, train: Train, way: Way) -> float:
        """How far from the beginning of a way the nearest part of a train on it is."""
        train.motion.catch_up(self._now)
        begin, places = 0.0, [inf]
        for its, length in zip(train.ways, train.lengths, strict=True):
            if its.element == way.element:
                same = its.entry == way.entry
                places.append(train.tail - begin if same else length - (train.motion.x - begin))
            begin += length
        return max(0.0, min(places))

    def _plan(self, train: Train) -> None:
        """What a train does now, and when something happens to it next."""
        train.version += 1
        motion = train.motion
        motion.catch_up(self._now)
        if train.broken or train.outside:
            return
        distance, signal = self._sees(train)
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
        self._after(min(times), self._goes_on, train, train.version)

    def _stands(self, train: Train, signal: str) -> None:
        train.motion.a = 0.0
        train.stood_since = self._now
        train.waits_at, train.ended = signal, True
        if signal:
            if self._may_pass(signal):
                self._after(self.rng.uniform(*_REACTS), self._sets_off, train, train.version)
            return
        if train.called:
            self._couples(train)

    def _goes_on(self, train: Train, version: int) -> None:
        if train.version != version:
            return
        motion = train.motion
        motion.catch_up(self._now)
        if motion.v < 1e-4 and motion.a < 0:
            motion.v = 0.0
        if train.coming_from and train.tail >= -NEAR:
            self._in_time(self.layout.section_of[train.ways[0].element])
            train.coming_from = ""
        elif not train.coming_from and train.tail >= train.lengths[0] - NEAR:
            self._tail_leaves(train)
            if train.number not in self._trains:
                return
        if not train.leaving and motion.x >= train.total - NEAR:
            motion.x = max(motion.x, train.total)
            self._front_crosses(train)
            if train.broken or train.number not in self._trains:
                return
        self._plan(train)

    def _tail_leaves(self, train: Train) -> None:
        first = train.ways[0]
        if len(train.ways) == 1:
            if train.leaving:
                self._gone(train)
            return
        section = self.layout.section_of[train.ways[1].element]
        if section != self.layout.section_of[first.element]:
            self._in_time(section)
        train.ways.pop(0)
        train.motion.x -= train.lengths.pop(0)
        self._vacate(train, first)

    def _gone(self, train: Train) -> None:
        for way in train.ways:
            self._vacate(train, way)
        del self._trains[train.number]
        train.version += 1
        self.counts["left"] += 1
        self._tell("train", f"{train.name} has left")

    def _front_crosses(self, train: Train) -> None:
        """A front comes to the joint at the end of the track on which its train lies."""
        way = train.ways[-1]
        leg = Leg(way.element, way.exit)
        signal = self.ground.signal_at.get(leg)
        end = self.ground.where(leg)
        if isinstance(end, Stop):
            self._accident(train, f"{train.name} runs into the stop at {way.element}")
            return
        section = self.layout.section_of[way.element]
        if isinstance(end, Edge) or self.layout.section_of[end.element] != section:
            self._in_time(section)
        if signal is not None:
            self._passes(train, signal)
        if isinstance(end, Edge):
            train.leaving = True
            return
        self._enter(train, end)

    def _passes(self, train: Train, signal: str) -> None:
        lamp = self._lamps[signal]
        if not self.is_off(signal) and signal not in train.committed:
            if not train.disobeys:
                self._accident(train, f"{train.name} passes {signal} at stop")
                return
            self._tell("fault", f"{train.name} passes {signal} at stop")
        train.disobeys = False
        self._told_to_go.discard(signal)
        train.committed.discard(signal)
        train.called = lamp.shows in self.ground.called[signal]
        train.last_signal = signal
        lamp.passed = True
        self._past[signal] = train
        self.counts["signals passed"] += 1
        self.passes[signal] += 1

    def _enter(self, train: Train, leg: Leg, *, at_once: bool = False) -> None:
        """A front comes on to an element."""
        if train.broken:
            return
        others = [other for other in self._on[leg.element] if other is not train]
        if others and not train.called:
            text = f"{train.name} runs into {others[0].name} in {leg.element}"
            self._accident(train, text)
            for other in others:
                self._break(other)
            return
        way = self._way_from(leg)
        if way is None:
            self._accident(train, f"{train.name} comes off the rails in {leg.element}")
            return
        train.ways.append(way)
        train.lengths.append(self.ground.length[way.element])
        self._occupy(train, way, at_once=at_once)

    def _couples(self, train: Train) -> None:
        """A train that was called on has come to others: they move as one from now on, if those
        lie in the same stretch."""
        way = train.ways[-1]
        front = train.motion.x - (train.total - train.lengths[-1])
        other = next(
            (
                o
                for o in self._on[way.element]
                if o is not train
                and o.stands
                and not o.outside
                and -NEAR <= self._place(o, way) - front <= 2 * GAP
            ),
            None,
        )
        if other is None or other.coming_from or other.leaving:
            return
        stretch = self.ground.stretch
        if any(stretch[w.element] != stretch[way.element] for w in other.ways):
            return
        for each in (train, other):
            each.motion.catch_up(self._now)
        if (other.ways[0].element, other.ways[0].entry) != (way.element, way.entry):
            other.turned()
        if (other.ways[0].element, other.ways[0].entry) != (way.element, way.entry):
            return
        start = train.total - train.lengths[-1]
        front = start + other.motion.x
        tail = train.tail
        for its in other.ways:
            self._on[its.element].remove(other)
            self._in[self.layout.section_of[its.element]] -= 1
        for its in other.ways[1:]:
            self._on[its.element].append(train)
            self._in[self.layout.section_of[its.element]] += 1
        del self._trains[other.number]
        other.version += 1
        self._past = {s: train if t is other else t for s, t in self._past.items()}
        train.ways += other.ways[1:]
        train.lengths += other.lengths[1:]
        train.length = front - tail
        train.motion.x = front
        train.waits_at = other.waits_at
        self.counts["coupled"] += 1
        self._tell("train", f"{train.name} is coupled to {other.name}")

    # ------------------------------------------------------------------ by people

    def may_do(self) -> list[Act]:
        """What people may do with trains now."""
        found = []
        for edge in self.layout.edges:
            if self._may_come(edge):
                found.append(Act(f"come {edge}", f"A train comes to {edge}"))
        for train in self.trains():
            if self.can_turn(train):
                found.append(Act(f"turn {train.number}", f"{train.name.capitalize()} turns back"))
            if self._may_be_taken(train):
                found.append(Act(f"take {train.number}", f"Take {train.name} off the track"))
        return found

    def faults(self) -> list[Act]:
        """What can be made to fail, or be mended."""
        found = []
        for name, detector in self._detectors.items():
            if detector.stuck is not None:
                found.append(Act(f"mend detector {name}", f"Mend the detector of {name}"))
            else:
                says = "clear" if self._in[name] else "occupied"
                found.append(Act(f"stick {name}", f"The detector of {name} says {says} for ever"))
        for name, drive in self._drives.items():
            if drive.dead:
                found.append(Act(f"mend drive {name}", f"Mend the drive of {name}"))
            else:
                found.append(Act(f"kill {name}", f"The drive of {name} moves no more"))
        for train in self._trains.values():
            if train.waits_at and not train.outside and not train.broken:
                text = f"{train.name.capitalize()} passes {train.waits_at} at stop"
                found.append(Act(f"disobey {train.number}", text))
        return found

    def may_put(self) -> list[Act]:
        """Where a train may be put on the track: before a signal, where all is clear."""
        return [
            Act(f"put {signal}", f"Put a train before {signal}")
            for signal in self.layout.signals
            if self._way_to_put(signal) is not None
        ]

    def _way_to_put(self, signal: str) -> Way | None:
        """The way on which a train may be put that stands before a signal."""
        leg = self.layout.signals[signal].before
        if isinstance(leg, Edge):
            return None
        own = self.ground.stretch[leg.element]
        stretch = [e for e, number in self.ground.stretch.items() if number == own]
        if self._in[self.layout.section_of[leg.element]] or not self.admits("", tuple(stretch)):
            return None
        for entry in self.layout.elements[leg.element].kind.legs:
            way = self._way_from(Leg(leg.element, entry)) if entry != leg.leg else None
            if way is not None and way.exit == leg.leg:
                return way
        return None

    def _put(self, signal: str) -> None:
        way = self._way_to_put(signal)
        assert way is not None
        length = self.ground.length[way.element]
        train = self._new_train(min(0.8 * length, 0.45 * self.ground.room))
        train.ways, train.lengths = [way], [length]
        train.motion.x = length - MARGIN
        train.waits_at, train.ended = signal, True
        self._occupy(train, way, at_once=True)
        self._tell("train", f"{train.name} is put before {signal}")
        if self.is_off(signal):
            self._after(self.rng.uniform(*_REACTS), self._sets_off, train, train.version)

    def do(self, key: str) -> None:
        """Do something that people may do now. Raises SimulationError."""
        if all(act.key != key for act in (*self.may_do(), *self.may_put(), *self.faults())):
            raise SimulationError("that is not possible on the railway now")
        what, _, of = key.partition(" ")
        match what:
            case "come":
                self._comes(of)
            case "put":
                self._put(of)
            case "turn":
                self._turn_back(self._trains[int(of)])
            case "take":
                self._take_off(self._trains[int(of)])
            case "stick":
                detector = self._detectors[of]
                detector.stuck = not self._in[of]
                self._tell("fault", f"the detector of {of} is stuck")
                self._report(of)
            case "kill":
                self._drives[of].dead = True
                self._drives[of].version += 1
                self._tell("fault", f"the drive of {of} is dead")
            case "mend":
                self._mend(*of.split(" ", 1))
            case "disobey":
                train = self._trains[int(of)]
                train.disobeys, train.waits_at, train.ended = True, "", False
                self._plan(train)

    def _mend(self, what: str, name: str) -> None:
        if what == "detector":
            self._detectors[name].stuck = None
            self._report(name)
        else:
            drive = self._drives[name]
            drive.dead = False
            drive.lies = drive.lies or drive.goal
            if self.layout.drives[name].detected:
                self._reports.append(Reported("lies", name, drive.lies, self.now))
        self._tell("fault", f"the {what} of {name} is mended")

    def _outside(self, edge: str) -> Iterable[Train]:
        return (t for t in self._trains.values() if edge in (t.outside, t.coming_from))

    def _may_come(self, edge: str) -> bool:
        if any(self._outside(edge)):
            return False
        signal = self.ground.at_edge.get(edge)
        if signal is not None:
            return signal in self.ground.onward
        approach = self.ground.approach(edge)
        if approach is None or any(self._on[element] for element in approach):
            return False
        leg = self.layout.edges[edge]
        if any(t.leaving and t.ways[-1].element == leg.element for t in self._trains.values()):
            return False
        return self.admits(edge, approach)

    def _comes(self, edge: str) -> None:
        train = self._new_train()
        train.most = self._slowest * self.rng.uniform(1.0, 2.0)
        self.counts["came"] += 1
        self._tell("train", f"{train.name} comes to {edge}")
        signal = self.ground.at_edge.get(edge)
        if signal is not None:
            train.outside, train.waits_at, train.ended = edge, signal, True
            if self.is_off(signal):
                self._after(self.rng.uniform(*_REACTS), self._sets_off, train, train.version)
            return
        self._comes_in(train, edge)

    def _comes_in_by_signal(self, train: Train) -> None:
        signal = train.waits_at
        if not self._may_pass(signal):
            return
        edge = train.outside
        if any(t is not train and t.coming_from == edge for t in self._trains.values()):
            self._after(1.0, self._sets_off, train, train.version)
            return
        self._passes(train, signal)
        self._comes_in(train, edge)

    def _comes_in(self, train: Train, edge: str) -> None:
        train.outside, train.waits_at, train.ended = "", "", False
        train.coming_from = edge
        train.motion = Motion(0.0, train.most * 0.6, 0.0, self._now)
        at_once = edge not in self.ground.at_edge
        self._enter(train, self.layout.edges[edge], at_once=at_once)
        if not train.broken:
            self._plan(train)

    def can_turn(self, train: Train) -> bool:
        """Whether a train may turn back: it stands where it can go no further, whole in one
        stretch, and a signal right behind it lets it out."""
        if not train.stands or not train.ended or train.broken or train.outside:
            return False
        if train.coming_from or train.leaving:
            return False
        stretch = self.ground.stretch
        own = stretch[train.ways[-1].element]
        if any(stretch[w.element] != own for w in train.ways):
            return False
        leg = Leg(train.ways[0].element, train.ways[0].entry)
        seen = {w.element for w in train.ways}
        while leg not in self.ground.signal_at:
            beyond = self.ground.where(leg)
            if not isinstance(beyond, Leg) or stretch[beyond.element] != own:
                return False
            if beyond.element in seen or self._on[beyond.element]:
                return False
            way = self._way_from(beyond)
            if way is None:
                return False
            seen.add(beyond.element)
            leg = Leg(beyond.element, way.exit)
        if len(self._on[train.ways[0].element]) > 1:
            return False
        return self.ground.signal_at[leg] in self.ground.onward

    def _settle(self, train: Train) -> None:
        for way in train.ways:
            self._in_time(self.layout.section_of[way.element])

    def _turn_back(self, train: Train) -> None:
        self._settle(train)
        train.turned()
        train.called = False
        train.ended, train.waits_at = False, ""
        self.counts["turned"] += 1
        self._tell("train", f"{train.name} turns back")
        self._plan(train)

    def _may_be_taken(self, train: Train) -> bool:
        if train.outside or train.coming_from or train.leaving:
            return False
        return train.broken or (train.stands and train.ended)

    def _take_off(self, train: Train) -> None:
        self._settle(train)
        for way in train.ways:
            self._vacate(train, way)
        del self._trains[train.number]
        train.version += 1
        self.counts["taken off"] += 1
        self._tell("train", f"{train.name} is taken off the track")

    # -------------------------------------------------------------- what is really so

    def is_on(self, section: str) -> bool:
        """Whether any vehicle is in a section."""
        return self._in[section] > 0

    def lies(self, drive: str) -> str | None:
        return self._drives[drive].lies

    def last_past(self, signal: str) -> tuple[bool, Train | None]:
        """Whether a train has passed a signal since it was shown off last; and the last one that
        passed it, if it is still on the track."""
        train = self._past.get(signal)
        there = train is not None and self._trains.get(train.number) is train
        return self._lamps[signal].passed, train if there else None

    def room_left(self, route: Route) -> float:
        """Metres where a route ends, up to what stands there; infinite at an edge."""
        if route.end_kind == "edge":
            return inf
        last = self.ground.stretch[route.ways[-1].element]
        room = 0.0
        for way in route.ways:
            if self.ground.stretch[way.element] != last:
                room = 0.0
                continue
            near = min((self._place(t, way) for t in self._on[way.element]), default=None)
            if near is not None:
                return room + near
            room += self.ground.length[way.element]
        return room

    def stands_whole_in(self, section: str) -> Train | None:
        """The train that stands whole in a section, if one does."""
        for train in self._trains.values():
            if train.outside or not train.stands or not train.ways:
                continue
            if all(self.layout.section_of[w.element] == section for w in train.ways):
                return train
        return None
