"""Throws as supplies and drives allow, across routes: never sooner, and none is kept for ever.

What counts as too soon is decided by `timing/pace.py`, which knows timetables and nothing of
queues.
"""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from sound_layouts import compiled

from bellcrank import Sound
from bellcrank.live.decisions import EndPulse, Throw
from bellcrank.live.pacing import Pacer
from bellcrank.machine.commands import throw_command
from bellcrank.timing.pace import breaches
from bellcrank.timing.timetable_model import Timed, Timetable

BENCH = """
layout "Reedham Bench" on two rails
points P1, P2, P3, P4
three way points P5
run edge A - LA - >SA - P1.toe
run P1.straight - B1 - stop
run P1.diverging - P2.toe
run P2.straight - B2 - stop
run P2.diverging - P3.toe
run P3.straight - B3 - stop
run P3.diverging - P4.toe
run P4.straight - B4 - stop
run P4.diverging - P5.toe
run P5.straight - B5 - stop
run P5.left - B6 - stop
run P5.right - B7 - stop
decoder kind quad { outputs 4 }
decoder K1 quad at 1
decoder K2 quad at 5
drive P1 = K1.1  coil 200 ms  rests 1500 ms
drive P2 = K1.2  coil 300 ms
drive P3 = K1.3  coil 100 ms
drive P4 = K1.4  servo 700 ms
drive P5.to_left = K2.1  coil 200 ms
drive P5.to_right = K2.2  coil 200 ms
supply NORTH { feeds K1  LIMIT  rest 400 ms }
"""


def bench(limit: str) -> Sound:
    return compiled(BENCH.replace("LIMIT", limit))


BENCHES = {limit: bench(limit) for limit in ("one at a time", "two at a time")}


def always(_: object) -> bool:
    return True


def never(_: str) -> bool:
    return False


def played(c: Sound, asked: list[tuple[int, list[Throw]]]) -> list[tuple[float, Throw]]:
    """When each throw leaves. asked: after how many milliseconds more what is asked for."""
    pacer = Pacer(c.layout)
    sent: list[tuple[float, Throw]] = []
    now = 0.0

    def until(end: float | None) -> None:
        nonlocal now
        while True:
            sent.extend((now, throw) for throw in pacer.ready(now, always, never))
            pacer.ended(now)
            at = pacer.next_at(now, never)
            if at is None or (end is not None and at > end):
                break
            now = at
        now = end if end is not None else now

    for wait, throws in asked:
        until(now + wait)
        pacer.ask(throws)
    until(None)
    assert not pacer.waiting()
    return sent


def throws(c: Sound) -> list[Throw]:
    return [Throw(d.name, p) for d in c.layout.drives.values() for p in d.positions]


ASKED = st.lists(
    st.tuples(
        st.integers(0, 1500),
        st.lists(st.integers(0, 11), min_size=1, max_size=6, unique_by=lambda n: n // 2),
    ),
    max_size=8,
)


@given(st.sampled_from(sorted(BENCHES)), ASKED)
def test_no_limit_of_a_drive_or_supply_is_ever_broken(
    limit: str, asked: list[tuple[int, list[int]]]
) -> None:
    c = BENCHES[limit]
    every = throws(c)
    wanted = [(wait, [every[n] for n in numbers]) for wait, numbers in asked]
    sent = played(c, wanted)
    assert sorted(t for _, t in sent) == sorted(t for _, some in wanted for t in some)
    commands = []
    for at, throw in sent:
        command = throw_command(c.layout, throw.drive, throw.position)
        commands.append(Timed(round(at), round(at) + (command.milliseconds or 0), command))
    timetable = Timetable("set", "", tuple(commands), 0, 0)
    assert breaches(c.layout, [(0, timetable)]) == ()


@given(ASKED)
def test_each_drive_is_thrown_in_the_order_in_which_it_was_asked_for(
    asked: list[tuple[int, list[int]]],
) -> None:
    c = BENCHES["one at a time"]
    every = throws(c)
    wanted = [(wait, [every[n] for n in numbers]) for wait, numbers in asked]
    sent = played(c, wanted)
    for drive in c.layout.drives:
        assert [t for _, t in sent if t.drive == drive] == [
            t for _, some in wanted for t in some if t.drive == drive
        ]


def test_a_supply_throws_one_after_another_and_rests_between() -> None:
    c = BENCHES["one at a time"]
    sent = played(c, [(0, [Throw("P1", "diverging"), Throw("P2", "diverging")])])
    assert sent == [(0.0, Throw("P1", "diverging")), (600.0, Throw("P2", "diverging"))]


def test_two_at_a_time_go_at_once_and_the_third_waits() -> None:
    c = BENCHES["two at a time"]
    sent = played(c, [(0, [Throw(d, "diverging") for d in ("P1", "P2", "P3")])])
    assert [(at, t.drive) for at, t in sent] == [(0.0, "P1"), (0.0, "P2"), (600.0, "P3")]


def test_a_drive_that_rests_holds_up_nobody_else() -> None:
    c = BENCHES["one at a time"]
    sent = played(
        c,
        [(0, [Throw("P1", "diverging")]), (10, [Throw("P1", "straight"), Throw("P3", "straight")])],
    )
    assert [(at, t.drive) for at, t in sent] == [(0.0, "P1"), (600.0, "P3"), (1700.0, "P1")]


def test_of_three_way_points_the_blade_that_goes_home_goes_first() -> None:
    c = BENCHES["one at a time"]
    one, two = (d for d in c.layout.drives if d.startswith("P5"))
    over = c.layout.drives[two].positions[1]
    home = c.layout.drives[one].positions[0]
    sent = played(c, [(0, [Throw(two, over), Throw(one, home)])])
    assert [t.drive for _, t in sent] == [one, two]
    assert sent[1][0] >= 200.0


def test_what_is_not_meant_any_more_is_not_thrown() -> None:
    pacer = Pacer(BENCHES["one at a time"].layout)
    pacer.ask([Throw("P1", "diverging"), Throw("P2", "diverging")])
    assert pacer.ready(0.0, always, never) == [Throw("P1", "diverging")]
    assert pacer.ready(600.0, lambda throw: throw.drive != "P2", never) == []
    assert not pacer.waiting()


def test_the_pulse_of_a_coil_is_ended_though_all_is_stopped_meanwhile() -> None:
    pacer = Pacer(BENCHES["one at a time"].layout)
    pacer.ask([Throw("P1", "diverging"), Throw("P2", "diverging")])
    pacer.ready(0.0, always, never)
    pacer.clear()
    assert pacer.next_at(0.0, never) == 200.0
    assert pacer.ended(199.0) == []
    assert pacer.ended(200.0) == [EndPulse("P1", "diverging")]
    assert pacer.next_at(200.0, never) is None
