"""Timetables sent one after another: when a coil or a supply is asked too much."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from timing.benches import wired, yard

import bellcrank
from bellcrank.layout.layout_model import Layout
from bellcrank.timing.lists import timetables
from bellcrank.timing.pace import PaceError, breaches, check_pace, earliest_start
from bellcrank.timing.timetable_model import Timetable

HALT = """
points P1, P2
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - B - stop
run P1.diverging - P2.toe
run P2.straight - <S2 - C - stop
run P2.diverging - <S3 - D - stop
decoder kind rack { outputs 8 }
decoder K rack at 1
drive P1 = K.1 coil 200 ms
drive P2 = K.2 coil 200 ms
"""

SUPPLY = "supply BENCH { feeds K  one at a time  rest 300 ms }\n"


def halt(text: str, rests: int | None = None) -> tuple[Layout, dict[str, Timetable]]:
    """A layout, its P1 with a rest, and the timetables that set its routes."""
    c = bellcrank.compile(text)
    wirings = c.layout.hardware.wirings
    resting = {**wirings, "P1": replace(wirings["P1"], rests=rests)}
    layout = replace(c.layout, hardware=replace(c.layout.hardware, wirings=resting))
    found = timetables(layout, c.table, c.locking)
    return layout, {t.of: t for t in found if t.what == "set"}


def test_a_coil_thrown_again_before_it_has_rested_is_an_error() -> None:
    layout, table = halt(HALT, rests=1000)
    # P1 is thrown at 0 for 200 ms and must be left alone until 1200.
    assert breaches(layout, [(0, table["H to B"]), (1200, table["H to C"])]) == ()
    with pytest.raises(PaceError) as told:
        check_pace(layout, [(0, table["H to B"]), (1199, table["H to C"])])
    assert str(told.value) == (
        "P1 would be thrown again 999 ms after its throw; it must be left alone for 1000 ms, "
        "or it overheats"
    )
    (breach,) = told.value.breaches
    assert (breach.at, breach.name) == (1199, "P1")


def test_a_coil_thrown_again_during_its_pulse_is_an_error_whatever_it_stands() -> None:
    layout, table = halt(HALT)
    check_pace(layout, [(0, table["H to B"]), (200, table["H to C"])])
    with pytest.raises(PaceError, match="P1 would be thrown again while it is still being thrown"):
        check_pace(layout, [(0, table["H to B"]), (199, table["H to C"])])


def test_the_order_in_which_they_are_told_does_not_matter() -> None:
    layout, table = halt(HALT, rests=1000)
    late, soon = (5000, table["H to B"]), (5300, table["H to C"])
    assert breaches(layout, [late, soon]) == breaches(layout, [soon, late]) != ()


def test_a_supply_asked_before_it_has_rested_is_an_error() -> None:
    layout, table = halt(HALT + SUPPLY)
    # `H to C` throws P1 at 0 and P2 at 500; the supply has rested at 1000.
    known = table["H to B"]
    assert [t.at for t in table["H to C"].commands if t.command.device == "drive"] == [0, 500]
    check_pace(layout, [(0, table["H to C"]), (1000, known)])
    with pytest.raises(PaceError) as told:
        check_pace(layout, [(0, table["H to C"]), (999, known)])
    assert str(told.value) == (
        "BENCH throws 1 at a time and rests 300 ms after each; P1 would be asked of it too soon"
    )


def test_several_breaches_are_counted_and_told_in_time() -> None:
    layout, table = halt(HALT + SUPPLY, rests=1000)
    with pytest.raises(PaceError, match=r"\(and \d more\)") as told:
        check_pace(layout, [(0, table["H to C"]), (600, table["H to D"])])
    times = [breach.at for breach in told.value.breaches]
    assert times == sorted(times)
    assert len(times) > 1


def test_a_coil_that_would_be_left_on_is_an_error() -> None:
    layout, table = halt(HALT)
    commands = tuple(
        replace(t, command=replace(t.command, milliseconds=None)) if t.command.name == "P1" else t
        for t in table["H to B"].commands
    )
    with pytest.raises(PaceError, match="P1 is a coil without a pulse"):
        check_pace(layout, [(0, replace(table["H to B"], commands=commands))])


def test_what_is_thrown_by_hand_has_no_pace() -> None:
    text = HALT.replace("P1 = K.1 coil 200 ms", "P1 by hand")
    layout, table = halt(text, rests=1000)
    check_pace(layout, [(0, table["H to B"]), (1, table["H to B"])])


def test_the_earliest_start_is_just_when_the_last_limit_is_kept() -> None:
    layout, table = halt(HALT, rests=1000)
    assert earliest_start(layout, [], table["H to B"]) == 0
    assert earliest_start(layout, [(0, table["H to B"])], table["H to C"]) == 1200
    assert earliest_start(layout, [(0, table["H to B"])], table["H to C"], 2000) == 2000
    with pytest.raises(PaceError):
        earliest_start(layout, [(0, table["H to B"]), (1, table["H to B"])], table["H to C"])


@settings(max_examples=60)
@given(st.integers(0, 10_000), st.data())
def test_no_millisecond_before_the_earliest_start_would_do(seed: int, data: st.DataObject) -> None:
    layout = wired(seed)
    c = yard()
    every = timetables(layout, c.table, c.locking)
    first, second = data.draw(st.sampled_from(every)), data.draw(st.sampled_from(every))
    start = earliest_start(layout, [(0, first)], second)
    assert breaches(layout, [(0, first), (start, second)]) == ()
    for earlier in {0, start // 2, start - 1} - {-1, start}:
        assert breaches(layout, [(0, first), (earlier, second)]) != () or earlier > start
