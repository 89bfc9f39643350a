"""Signals, drives and detectors of a railway in continuous time, and the controller of it.

Written from the JSON document alone. Detectors report late, drives take their time, and all that
decides what signals show is a controller, to which nothing but reports, requests and times that
are over are told.
"""

from __future__ import annotations

import random
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from heapq import heappop, heappush
from typing import Any

from clocked_controller import Answer, Reader
from clocked_track import EDGE, Route, Track
from clocked_trains import Run, Train

OCCUPIED_AFTER, CLEAR_AFTER = (0.3, 0.3, 2.0, 10.0, 25.0), (3.0, 3.0, 15.0, 90.0)
"""The longest times from what happens to its report, in seconds: each railway has one of them.
However long, a section is reported occupied before a front leaves it and before a tail comes in,
and before the time of approach locking is over.
"""

TOO_LATE_TO_STOP = 2.0
"""How long after a signal went back to stop a driver may still pass it."""


@dataclass
class Lamp:
    """What a signal shows, as drivers see it.

    shows: the route that it is off for. passed: whether a train has passed since it went off.
    late: the route it was off for until a moment ago, and until when it may be passed.
    """

    shows: str = ""
    passed: bool = False
    late: str = ""
    until: float = 0.0


@dataclass
class Detector:
    """What a section reports. stuck: it says this and no other, whatever is so."""

    said: bool = False
    version: int = 0
    stuck: bool | None = None


@dataclass
class Drive:
    lies: str
    moving: bool = False
    goal: str = ""
    version: int = 0
    dead: bool = False


@dataclass
class Seen:
    """What has been seen. accident: when and what; alarm: when and at what input."""

    counts: Counter[str] = field(default_factory=Counter)
    accident: tuple[float, str] | None = None
    alarm: tuple[float, str] | None = None
    wrong: list[str] = field(default_factory=list)


class Equipment:
    """All of a railway but the movements of trains."""

    def __init__(self, track: Track, controller: Reader, rng: random.Random) -> None:
        self.track, self.controller, self.rng = track, controller, rng
        self.now = 0.0
        self.queue: list[tuple[float, int, Callable[..., None], tuple[Any, ...]]] = []
        self.number = 0
        self.trains: dict[int, Train] = {}
        self.on: defaultdict[str, list[Train]] = defaultdict(list)
        self.count: Counter[str] = Counter()
        self.lamps = {name: Lamp() for name in track.signals}
        self.detectors = {name: Detector() for name in track.detected}
        self.drives = {
            name: Drive(rng.choice(positions)) for name, positions in track.drives.items()
        }
        self.outside: dict[str, Train] = {}
        self.runs: dict[str, Run] = {}
        self.set_since: dict[str, float] = {}
        self.cleared: set[str] = set()
        self.waiting: dict[str, Train] = {}
        self.seen = Seen()
        self.log: list[str] | None = None
        self.stopped = False
        self.deaf = False
        self.disobeys: Train | None = None
        self.went_wrong: float | None = None
        self.next_report: Callable[[str, str], bool] | None = None
        timers = {(t["variable"], t["value"]): t["milliseconds"] / 1000
                  for t in controller.controller["timers"]}  # fmt: skip
        self.timers = timers
        self.timed = {variable for variable, _ in timers}
        self.timer_version: Counter[str] = Counter()
        self.signal_of = {m["variable"]: m["signal"] for m in controller.controller["lamps"]}
        self.off = {
            (m["variable"], s["value"]): s["value"]
            for m in controller.controller["lamps"]
            for s in m["shows"]
            if s["off"]
        }
        self.drive_of = {t["variable"]: t["drive"] for t in controller.controller["throws"]}
        self.thrown_to = {
            (t["variable"], m["value"]): m["thrown_to"]
            for t in controller.controller["throws"]
            for m in t["meanings"]
            if m["thrown_to"]
        }
        self.route_of = {p["variable"]: p["route"] for p in controller.controller["progress"]}
        overlap = min(
            (t["milliseconds"] / 1000 for t in controller.controller["timers"]
             if t["kind"] == "overlap"),
            default=10.0,
        )  # fmt: skip
        self.occupied_after = rng.choice(OCCUPIED_AFTER)
        self.clear_after = rng.choice(CLEAR_AFTER)
        self.slowest = max(0.08, 1.1 * track.slowest(overlap))

    # ---------------------------------------------------------------------- time

    def at(self, time: float, act: Callable[..., None], *what: Any) -> None:
        self.number += 1
        heappush(self.queue, (time, self.number, act, what))

    def after(self, seconds: float, act: Callable[..., None], *what: Any) -> None:
        self.at(self.now + seconds, act, *what)

    def until(self, time: float) -> None:
        """Let time pass; ends early at an accident or an alarm."""
        while self.queue and not self.stopped and self.queue[0][0] <= time:
            self.now, _, act, what = heappop(self.queue)
            self.seen.counts["events"] += 1
            act(*what)
        if not self.stopped:
            self.now = time

    def note(self, text: str) -> None:
        if self.log is not None:
            self.log.append(f"{self.now:9.2f}  {text}")

    def accident(self, what: str) -> None:
        if self.seen.accident is None and not self.stopped:
            self.note(f"ACCIDENT {what}")
            self.seen.accident = (self.now, what)
            self.stopped = True

    # --------------------------------------------------------------- the controller

    def tell(self, kind: str, of: str, value: str = "") -> Answer:
        """Give the controller an input, and do what it says."""
        if self.deaf or self.stopped:
            return Answer(refused=True)
        answer = self.controller.put_in(kind, of, value)
        said = " REFUSED" if answer.refused else " ALARM" if answer.alarm else ""
        self.note(f"{kind} {of} {value}{said}")
        counts = self.seen.counts
        counts[kind] += 1
        if answer.refused:
            counts[f"{kind} refused"] += 1
        if answer.alarm:
            self.seen.alarm = (self.now, answer.alarm)
            self.stopped = True
        self._carry_out(answer.changed)
        return answer

    def _carry_out(self, changed: Iterable[str]) -> None:
        state = self.controller.state
        for variable in changed:
            value = state[variable]
            if variable in self.timed:
                self.timer_version[variable] += 1
                seconds = self.timers.get((variable, value))
                if seconds is not None:
                    version = self.timer_version[variable]
                    self.after(seconds, self._time_over, variable, value, version)
            if variable in self.signal_of:
                self._show(self.signal_of[variable], self.off.get((variable, value), ""))
            elif variable in self.drive_of:
                goal = self.thrown_to.get((variable, value))
                if goal is not None:
                    self._throw(self.drive_of[variable], goal)
            elif variable in self.route_of:
                self._went_on(self.route_of[variable])

    def _went_on(self, route: str) -> None:
        if self.controller.is_idle(route):
            self.set_since.pop(route, None)
            self.cleared.discard(route)
            run = self.runs.pop(route, None)
            if run is not None:
                if run.arrived is None:
                    self._look_at(run)
                if run.arrived is None:
                    self.wrong(f"{route} is released though its train has not arrived")
                self.seen.counts["arrivals"] += 1
                run.gone = True
                if run in run.train.runs:
                    run.train.runs.remove(run)
        else:
            self.set_since.setdefault(route, self.now)

    def goes_wrong(self) -> None:
        """What is out of order makes a difference, for the first time."""
        if self.went_wrong is None:
            self.went_wrong = self.now

    def wrong(self, what: str) -> None:
        self.note(f"WRONG {what}")
        self.seen.wrong.append(f"{self.now:.2f} {what}")

    def _time_over(self, variable: str, value: str, version: int) -> None:
        if self.timer_version[variable] == version and self.controller.state[variable] == value:
            self.tell("time over", variable, value)

    def start(self) -> None:
        """The controller begins: nothing is set, and what it knows is what is reported."""
        for name, detector in self.detectors.items():
            detector.version += 1
            detector.said = self.count[name] > 0 if detector.stuck is None else detector.stuck
        for drive in self.drives.values():
            if drive.moving:
                drive.moving, drive.lies = False, drive.goal
                drive.version += 1
        for lamp in self.lamps.values():
            lamp.shows, lamp.late, lamp.passed = "", "", False
        for variable in self.timed:
            self.timer_version[variable] += 1
        self.runs.clear()
        self.set_since.clear()
        self.cleared.clear()
        for train in self.trains.values():
            train.runs.clear()
        self.controller.start(
            [name for name, d in self.detectors.items() if d.said],
            {d: self.drives[d].lies for d in self.track.contacts},
        )
        self.deaf = False
        self.seen.counts["starts"] += 1
        self.note("START")

    # ------------------------------------------------------------- signals and drives

    def _show(self, signal: str, route: str) -> None:
        lamp = self.lamps[signal]
        if route:
            lamp.shows, lamp.passed, lamp.late = route, False, ""
            self.cleared.add(route)
            self.note(f"{signal} off for {route}")
            train = self.waiting.get(signal)
            if train is not None:
                self.after(self.rng.uniform(0.2, 3.0), self._departs, train, signal)
            elif self.track.signals[signal][0] == EDGE:
                edge = self.track.signals[signal][1]
                if edge in self.outside:
                    self.after(self.rng.uniform(0.2, 3.0), self._passes_edge, edge, signal)
        elif lamp.shows:
            if not lamp.passed:
                lamp.late, lamp.until = lamp.shows, self.now + TOO_LATE_TO_STOP
            lamp.shows = ""
            self.note(f"{signal} to stop")

    def may_pass(self, signal: str, train: Train) -> str:
        """The route for which a driver passes a signal now; none if it is at stop, or the train
        is too long for where it leads."""
        lamp = self.lamps[signal]
        shown = ""
        if lamp.shows and not lamp.passed:
            shown = lamp.shows
        elif lamp.late and self.now < lamp.until and self.rng.random() < 0.6:
            shown = lamp.late
        return shown if shown and self.fits(train.length, self.track.routes[shown]) else ""

    def fits(self, length: float, route: Route) -> bool:
        """Whether a train of this length comes to stand whole where a route ends."""
        room = self.track.room(route)
        if route.calling_on:
            for train in {
                t for e in self.track.elements_of[route.sections[-1]] for t in self.on[e]
            }:
                room -= train.length + 0.02
        return length < room - 0.02

    def _throw(self, name: str, goal: str) -> None:
        drive = self.drives[name]
        self.seen.counts["throws"] += 1
        if drive.dead:
            if drive.lies != goal:
                self.goes_wrong()
            return
        drive.version += 1
        if drive.lies != goal:
            drive.moving = True
            self.note(f"{name} moves to {goal}")
            self._moves_under(name)
        drive.goal = goal
        self.after(self.rng.uniform(0.1, 3.0), self._lies, name, drive.version)

    def _moves_under(self, name: str) -> None:
        for element in self.track.on_drive[name]:
            if self.on[element]:
                self.accident(f"{name} moves under a train on {element}")

    def _lies(self, name: str, version: int) -> None:
        drive = self.drives[name]
        if drive.version == version:
            drive.lies, drive.moving = drive.goal, False
            if name in self.track.contacts:
                self.tell("lies", name, drive.lies)

    def lies(self, name: str, position: str) -> bool:
        drive = self.drives[name]
        return drive.lies == position and not drive.moving

    # ---------------------------------------------------------------------- detectors

    def _changed(self, section: str, *, at_once: bool = False) -> None:
        """The truth of a section may have changed."""
        detector = self.detectors.get(section)
        if detector is None:
            return
        truth = self.count[section] > 0
        if detector.stuck is not None:
            if truth != detector.stuck:
                self.goes_wrong()
            return
        detector.version += 1
        if truth == detector.said:
            return
        if truth and at_once:
            self.report(section, truth)
            return
        most = self.occupied_after if truth else self.clear_after
        self.after(self.rng.uniform(0, most), self._reports, section, truth, detector.version)

    def _reports(self, section: str, occupied: bool, version: int) -> None:
        detector = self.detectors[section]
        if detector.version == version and detector.said != occupied:
            self.report(section, occupied)

    def report(self, section: str, occupied: bool) -> None:
        self.detectors[section].said = occupied
        kind = "occupied" if occupied else "clear"
        if self.next_report is not None and self.next_report(section, kind):
            return
        self.tell(kind, section)

    def in_time(self, section: str) -> None:
        """Report a section occupied now, if that has not come yet."""
        detector = self.detectors.get(section)
        if detector is None or detector.said or detector.stuck is not None or self.deaf:
            return
        if self.count[section]:
            detector.version += 1
            self.report(section, True)

    # ------------------------------------------------------ what trains have to do with it

    def _look_at(self, run: Run) -> None:
        """Whether a train has arrived whole where its route ends."""
        raise NotImplementedError

    def _departs(self, train: Train, signal: str) -> None:
        """The driver of a train that waits at a signal sees it off."""
        raise NotImplementedError

    def _passes_edge(self, edge: str, signal: str) -> None:
        """The like for a train outside an edge."""
        raise NotImplementedError
