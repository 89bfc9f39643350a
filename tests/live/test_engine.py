"""Box, journal and queues together: nothing takes effect before it is written."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from sound_layouts import compiled

from bellcrank.live.box import Box
from bellcrank.live.decisions import Decision, Doing, Heard, Light, Show, Throw
from bellcrank.live.engine import Engine
from bellcrank.live.journal import JournalError
from bellcrank.live.pacing import Pacer
from bellcrank.machine.frame import IDLE

YARD = """
layout "Reedham Yard" on two rails
points P, Q
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - Q.toe
run Q.straight - <D - C - stop
run Q.diverging - <E - F - stop
decoder kind quad { outputs 4 }
decoder K1 quad at 1
drive P = K1.1  servo 1 s  detected
drive Q = K1.2  servo 1 s  detected
supply NORTH { feeds K1  one at a time }
"""


class Bench:
    """What is written and what is put out, in one list."""

    def __init__(self) -> None:
        c = compiled(YARD)
        self.happened: list[Decision | Doing] = []
        self.full = False
        self.box = Box(c.layout, c.table, c.control)
        self.engine = Engine(self.box, Pacer(c.layout), self, self.happened.append)
        heard = [Heard("clear", s) for s in c.layout.sections]
        heard += [Heard("lies", d, "straight") for d in c.layout.drives]
        self.engine.hear([*heard, Heard("start")], 0.0)
        self.happened.clear()

    def write(self, decisions: Sequence[Decision]) -> None:
        if self.full:
            raise JournalError("it is full")
        self.happened += decisions

    def done(self, *heard: Heard, now: float) -> list[Doing]:
        """What is put out for what is heard."""
        self.happened.clear()
        self.engine.hear(heard, now)
        return [each for each in self.happened if not isinstance(each, Decision)]


def test_everything_is_written_before_any_of_it_is_put_out() -> None:
    bench = Bench()
    bench.engine.hear([Heard("request", "W to F"), Heard("request", "W to B")], 1.0)
    kinds = [isinstance(each, Decision) for each in bench.happened]
    assert kinds == sorted(kinds, reverse=True) and not kinds[-1]
    thrown = [d.heard.kind for d in bench.happened if isinstance(d, Decision)]
    assert thrown == ["request", "request", "thrown"]


def test_what_cannot_be_written_takes_no_effect() -> None:
    bench = Bench()
    bench.full = True
    with pytest.raises(JournalError):
        bench.engine.hear([Heard("request", "W to F")], 1.0)
    assert bench.happened == []


def test_a_throw_that_waits_for_its_supply_is_sent_when_that_is_free() -> None:
    bench = Bench()
    assert bench.done(Heard("request", "W to F"), now=0.0) == [Throw("P", "diverging")]
    assert bench.engine.next_at(0.0) == 1000.0
    assert bench.done(now=999.0) == []
    assert bench.done(now=1000.0) == [Throw("Q", "diverging")]
    # Its own time runs from then: both have to report before the signal clears.
    assert bench.done(Heard("lies", "P", "diverging"), now=1100.0) == []
    assert bench.done(Heard("lies", "Q", "diverging"), now=5900.0) == [Show("W", "proceed")]


def test_nothing_that_waits_is_thrown_after_a_stop() -> None:
    bench = Bench()
    bench.done(Heard("request", "W to F"), now=0.0)
    stopped = bench.done(Heard("stop"), now=10.0)
    assert [d for d in stopped if isinstance(d, Throw)] == [] and len(stopped) == 4
    assert bench.engine.next_at(10.0) is None
    assert bench.done(now=5000.0) == []


def test_a_signal_that_is_off_and_stopped_in_one_batch_is_never_shown_off() -> None:
    bench = Bench()
    done = bench.done(Heard("request", "W to B"), Heard("stop"), now=0.0)
    assert Show("W", "proceed") not in done and Show("W", "stop") in done


def test_the_last_throw_of_a_drive_counts() -> None:
    """A contact that reports before its throw has left: that throw is not sent later."""
    bench = Bench()
    bench.done(Heard("request", "W to F"), now=0.0)
    bench.done(Heard("lies", "Q", "diverging"), now=10.0)
    assert bench.done(now=1000.0) == []


def test_the_lamp_of_a_route_is_lit_from_its_request_until_it_is_released() -> None:
    c = compiled(f"{YARD}decoder K2 quad at 9\nlamp W to B = K2.1 red\n")
    out: list[Doing] = []

    class Nothing:
        def write(self, decisions: Sequence[Decision]) -> None:
            pass

    box = Box(c.layout, c.table, c.control)
    engine = Engine(box, Pacer(c.layout), Nothing(), out.append)
    heard = [Heard("clear", s) for s in c.layout.sections]
    heard += [Heard("lies", d, "straight") for d in c.layout.drives]
    engine.hear([*heard, Heard("start")], 0.0)
    assert out[-1] == Light("W to B", lit=False)  # nobody knows what it shows
    out.clear()
    engine.hear([Heard("request", "W to B")], 1.0)
    assert Light("W to B", lit=True) in out
    train = [("occupied", "P"), ("occupied", "B"), ("clear", "A"), ("clear", "P")]
    engine.hear([Heard("occupied", "A")], 2.0)
    for kind, section in train:
        out.clear()
        engine.hear([Heard(kind, section)], 3.0)  # type: ignore[arg-type]
    assert Light("W to B", lit=False) in out and box.stage("W to B") == IDLE
    out.clear()
    engine.hear([Heard("request", "W to D")], 4.0)
    assert not any(isinstance(doing, Light) for doing in out)
    engine.hear([Heard("stop")], 5.0)
    assert Light("W to B", lit=False) in out
