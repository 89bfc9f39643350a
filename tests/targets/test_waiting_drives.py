"""Throws that have to wait for coils and supplies: the program of targets/README.md for them, on
drives that move as late as is assumed, and on a railway where people ask for what they like."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from functools import cache
from itertools import pairwise
from typing import Any

import pytest
from sound_layouts import undecided
from test_reader import README, python_reader

from bellcrank.document.build_document import build_document

HALT = """
layout "Reedham Halt" on two rails
points P, Q, R
run edge WEST - A - >W - P.toe
run P.straight - <S - B - >E - Q.straight
run P.diverging - <D - C - >F - R.toe
run R.straight - Q.diverging
run R.diverging - <G - H - stop
run Q.toe - <X - Z - edge EAST
decoder kind quad { outputs 8 }
decoder K1 quad at 1
drive P = K1.1  coil 200 ms detected
drive Q = K1.2  coil 200 ms  rests 2 s
drive R = K1.3  coil 400 ms  settles 7 s
supply BENCH { feeds K1  one at a time  rest 300 ms }
time of approach locking 1 s
"""

LAID = """
layout "Gorse Siding" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
drive P by hand
"""


@cache
def document(text: str) -> dict[str, Any]:
    plain = build_document(undecided(text), {"vectors"}).plain
    return {**plain, "controlled": {"outcome": "proved"}}


@cache
def pace_program() -> Any:
    blocks = re.findall(r"```python\n(.*?)```", README, flags=re.S)
    [found] = [text for text in blocks if "class Pace" in text]
    namespace: dict[str, Any] = {"__name__": "pace"}
    exec(found, namespace)
    return namespace["Pace"]


class Bench:
    """Controller, pace and drives. A drive lies where it was thrown as late as its time allows."""

    def __init__(self, text: str, seed: int = 0) -> None:
        self.told = document(text)
        self.random = random.Random(seed)
        self.now = 0.0
        self.railway = python_reader()(self.told, self.clock)
        self.pace = pace_program()(self.told, self.railway, self.clock)
        self.drives = {d["name"]: d for d in self.told["layout"]["drives"]}
        self.lies = {name: d["positions"][0]["position"] for name, d in self.drives.items()}
        self.moving: dict[str, tuple[float, str]] = {}
        self.pulses: list[tuple[str, float, float]] = []
        self.thrown: list[tuple[str, str]] = []
        self.alarms = 0
        times = {t["of"]: t["milliseconds"] for t in self.told["controller"]["timers"]}
        self.takes = {name: times[name] / 1000 for name in self.drives}
        self.start()

    def clock(self) -> float:
        return self.now

    def start(self) -> None:
        reports = self.pace.reports
        self.railway.start([], {n: at for n, at in self.lies.items() if n in reports})

    def put_out(self, out: list[tuple[str, str, str]]) -> None:
        for kind, name, to in out:
            if kind == "drive":
                self.pace.ask(name, to)

    def give(self, kind: str, of: str, value: str | None = None) -> str:
        out, became = self.railway.input(kind, of, value)
        self.put_out(out)
        return str(became)

    def step(self, seconds: float = 0.02) -> None:
        self.now += seconds
        for name, (at, to) in list(self.moving.items()):
            if at <= self.now:
                del self.moving[name]
                self.lies[name] = to
                if name in self.pace.reports and self.give("lies", name, to) == "alarm":
                    self.alarms += 1
        self.pace.step()
        for drive, to in self.pace.ready():
            pulse = self.drives[drive]["milliseconds"] / 1000
            self.pulses.append((drive, self.now, self.now + pulse))
            self.thrown.append((drive, to))
            late = pulse if drive in self.pace.reports else pulse + self.takes[drive]
            self.moving[drive] = self.now + late * self.random.uniform(0.9, 0.99), to
            self.pace.begun(drive)
        for due in self.railway.due():
            if self.give(*due) == "alarm":
                self.alarms += 1

    def off(self) -> list[str]:
        """The routes whose signals are off."""
        lamps = self.told["controller"]["lamps"]
        shown = self.railway.aspects(self.railway.state)
        lit = [x["variable"] for x in lamps if shown[x["signal"]] != x["shows"][0]["aspect"]]
        return [self.railway.state[variable] for variable in lit]

    def wrong(self) -> list[str]:
        """Routes whose signal is off though a drive does not lie as they need it."""
        routes = {r["name"]: r for r in self.told["routes"]}
        return [
            name
            for name in self.off()
            for p in routes[name]["positions"]
            if self.lies[p["drive"]] != p["position"] or p["drive"] in self.moving
        ]


def run(bench: Bench, steps: int) -> list[str]:
    """What goes wrong while people ask for routes and cancel them."""
    names = [r["name"] for r in bench.told["routes"]]
    for _ in range(steps):
        if bench.random.random() < 0.02:
            if bench.random.random() < 0.5:
                bench.give("request", bench.random.choice(names))
            else:
                for name in names:
                    bench.give("cancel", name)
        bench.step()
        if wrong := bench.wrong():
            return wrong
    return []


@pytest.mark.parametrize("seed", range(4))
def test_no_signal_is_off_over_points_that_have_waited_to_be_thrown(seed: int) -> None:
    bench = Bench(HALT, seed)
    seen = set()
    for _ in range(10):
        assert run(bench, 1_000) == []
        seen.update(bench.off())
    assert bench.alarms == 0
    assert len(bench.thrown) > 20 and seen


@pytest.mark.parametrize("seed", range(4))
def test_coils_cool_and_supplies_rest_between_throws(seed: int) -> None:
    bench = Bench(HALT, seed)
    run(bench, 10_000)
    assert {drive for drive, _, _ in bench.pulses} == {"P", "Q", "R"}
    assert bench.pulses[0][1] >= 0.3
    for (_, _, end), (_, begin, _) in pairwise(bench.pulses):
        assert begin >= end + 0.3
    of_q = [(begin, end) for drive, begin, end in bench.pulses if drive == "Q"]
    assert of_q[0][0] >= 2
    for (_, end), (begin, _) in pairwise(of_q):
        assert begin >= end + 2


def test_a_time_that_began_with_the_request_would_let_a_signal_come_off_over_wrong_points() -> None:
    """So the tests above would find it out."""
    found: list[str] = []
    for seed in range(8):
        bench = Bench(HALT.replace("rest 300 ms", "rest 9 s"), seed)

        def at_once(out: list[tuple[str, str, str]], bench: Bench = bench) -> None:
            Bench.put_out(bench, out)
            for kind, name, to in out:
                if kind == "drive":
                    bench.railway.thrown(name, to)

        bench.put_out = at_once  # type: ignore[method-assign]
        found += run(bench, 4_000)
    assert found


def until(bench: Bench, so: Callable[[], object], seconds: float = 60) -> None:
    end = bench.now + seconds
    while not so():
        assert bench.now < end
        bench.step()


def test_a_drive_that_nothing_reports_lies_when_its_time_is_over_after_its_pulse() -> None:
    bench = Bench(HALT)
    assert bench.give("request", "F to H") == "done"
    until(bench, lambda: bench.thrown == [("R", "diverging")])
    began = bench.now
    until(bench, bench.off)
    assert began + 7.4 <= bench.now <= began + 7.6  # the pulse, and what it is said to take


def test_a_throw_that_waits_is_dropped_for_a_later_one_and_at_an_alarm() -> None:
    bench = Bench(HALT)
    bench.pace.ask("P", "straight")
    bench.pace.ask("P", "diverging")
    assert bench.pace.waiting == {"P": "diverging"}
    bench.give("request", "W to F")
    assert bench.pace.waiting
    bench.give("occupied", "C")
    assert bench.railway.alarm
    bench.step(10)
    assert bench.thrown == [] and bench.pace.waiting == {}


def test_a_throw_that_waits_is_dropped_when_the_drive_is_reported_to_lie_so() -> None:
    bench = Bench(HALT)
    bench.railway.start([], {})
    bench.give("request", "W to E")
    assert bench.give("lies", "P", "straight") == "done"
    bench.step(10)
    assert ("P", "straight") not in bench.thrown


def test_a_drive_that_is_laid_by_hand_lies_after_somebody_says_so() -> None:
    bench = Bench(LAID)
    assert bench.give("request", "W to B") == "done"
    bench.now = 1e6
    assert bench.railway.due() == [] and bench.off() == []
    bench.railway.thrown("P", "straight")
    bench.now += 5
    for due in bench.railway.due():
        bench.give(*due)
    assert bench.off() == ["W to B"]
