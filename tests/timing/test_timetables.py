"""Timetables of a layout: set a route, cancel it, start up."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sound_layouts import compiled
from timing.benches import blades, wired, yard
from timing.replay import faults, shortest

from bellcrank.layout.layout_model import Layout
from bellcrank.timing.lists import timetables, to_cancel, to_set, to_start_up
from bellcrank.timing.pace import breaches
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
signal H = K.3
signal S1 = K.4
signal S2 = K.5
signal S3 = K.6
supply BENCH { feeds K  one at a time  rest 250 ms }
"""

COILS = HALT + "drive P1 = K.1 coil 200 ms\ndrive P2 = K.2 coil 150 ms\n"


def set_up(text: str, route: str, drives_now: dict[str, str] | None = None) -> Timetable:
    c = compiled(text)
    return to_set(c.layout, c.table, c.locking, route, drives_now)


def rows(timetable: Timetable) -> list[tuple[int, int, str, str]]:
    return [(t.at, t.until, t.command.name, t.command.state) for t in timetable.commands]


def waits(timetable: Timetable, name: str, state: str) -> list[str]:
    (timed,) = [t for t in timetable.commands
                if (t.command.name, t.command.state) == (name, state)]  # fmt: skip
    return [wait.sentence for wait in timed.after]


# --------------------------------------------------------------------- to set a route


def test_signals_go_to_stop_then_drives_are_thrown_then_the_signal_comes_off() -> None:
    timetable = set_up(COILS, "H to D")
    assert rows(timetable) == [
        (0, 0, "H", "stop"),
        (0, 0, "S1", "stop"),
        (0, 0, "S2", "stop"),
        (0, 0, "S3", "stop"),
        (0, 200, "P1", "diverging"),
        (450, 600, "P2", "diverging"),
        (600, 600, "H", "proceed"),
    ]
    assert (timetable.total, timetable.bound, timetable.shortest) == (600, 600, True)
    assert timetable.waits == ()


def test_drives_that_are_known_to_lie_right_are_left_alone() -> None:
    timetable = set_up(COILS, "H to D", {"P1": "diverging", "P2": "straight"})
    assert [row for row in rows(timetable) if row[2][0] == "P"] == [(0, 150, "P2", "diverging")]
    assert timetable.total == 150
    assert set_up(COILS, "H to D", {"P1": "diverging", "P2": "diverging"}).total == 0


def test_drives_of_which_nothing_is_known_are_thrown() -> None:
    assert rows(set_up(COILS, "H to D", {})) == rows(set_up(COILS, "H to D"))


@pytest.mark.parametrize("drives_now", [{"P9": "straight"}, {"P1": "across"}])
def test_a_drive_or_a_position_that_is_not_there_is_refused(drives_now: dict[str, str]) -> None:
    with pytest.raises(ValueError, match="no drive"):
        set_up(COILS, "H to D", drives_now)


def test_a_route_that_is_not_there_is_refused() -> None:
    with pytest.raises(ValueError, match="no route H to Q"):
        set_up(COILS, "H to Q")


def test_a_drive_that_reports_is_waited_for_even_where_it_is_not_thrown() -> None:
    text = COILS.replace("coil 200 ms", "coil 200 ms detected")
    said = ["P1 reports that it lies diverging"]
    assert waits(set_up(text, "H to D"), "H", "proceed") == said
    lies = {"P1": "diverging", "P2": "diverging"}
    assert waits(set_up(text, "H to D", lies), "H", "proceed") == said


def test_a_drive_thrown_by_hand_is_confirmed_before_the_signal_comes_off() -> None:
    timetable = set_up(COILS.replace("P2 = K.2 coil 150 ms", "P2 by hand"), "H to D")
    by_hand = [t.command.name for t in timetable.commands if t.by_hand]
    assert by_hand == ["P2"]
    assert waits(timetable, "H", "proceed") == ["somebody confirms that P2 lies diverging"]
    assert timetable.total == 200


def test_a_signal_worked_by_hand_is_confirmed_at_stop_before_any_drive_is_thrown() -> None:
    timetable = set_up(COILS.replace("signal S1 = K.4\n", ""), "H to D")
    assert waits(timetable, "P1", "diverging") == ["somebody confirms that S1 shows stop"]


def test_where_no_drive_is_thrown_it_is_confirmed_before_the_signal_comes_off() -> None:
    lies = {"P1": "diverging", "P2": "diverging"}
    timetable = set_up(COILS.replace("signal S1 = K.4\n", ""), "H to D", lies)
    assert waits(timetable, "H", "proceed") == ["somebody confirms that S1 shows stop"]


def test_the_signal_comes_off_when_drives_have_settled() -> None:
    c = compiled(COILS)
    wirings = c.layout.hardware.wirings
    slow = {**wirings, "P1": replace(wirings["P1"], settles=2000)}
    layout = replace(c.layout, hardware=replace(c.layout.hardware, wirings=slow))
    timetable = to_set(layout, c.table, c.locking, "H to D")
    assert rows(timetable)[-3:] == [
        (0, 200, "P1", "diverging"),
        (450, 600, "P2", "diverging"),
        (2000, 2000, "H", "proceed"),
    ]


def test_a_supply_that_rests_throws_one_at_a_time_where_it_is_not_said_how_many() -> None:
    assert set_up(COILS.replace("one at a time  ", ""), "H to D").total == 600
    assert set_up(COILS.replace("one at a time  rest 250 ms", ""), "H to D").total == 200


# --------------------------------------------------------------------- three way points

FAN = """
three way points W
run edge WEST - A - >H - W.toe
run W.left - B - stop
run W.straight - C - stop
run W.right - D - stop
decoder kind rack { outputs 8 }
decoder K rack at 1
"""

BLADES = FAN + "drive W.to_left = K.1 coil 200 ms\ndrive W.to_right = K.2 coil 200 ms\n"


def drives(timetable: Timetable) -> list[tuple[int, int, str, str]]:
    return [row for row in rows(timetable) if row[2] in ("W.to_left", "W.to_right")]


def test_of_three_way_points_never_both_blades_are_over() -> None:
    assert drives(set_up(BLADES, "H to D")) == [
        (0, 200, "W.to_left", "straight"),
        (200, 400, "W.to_right", "diverging"),
    ]
    assert drives(set_up(BLADES, "H to B")) == [
        (0, 200, "W.to_right", "straight"),
        (200, 400, "W.to_left", "diverging"),
    ]


def test_blades_that_both_go_straight_are_thrown_at_once() -> None:
    assert [row[0] for row in drives(set_up(BLADES, "H to C"))] == [0, 0]


def test_a_blade_that_is_known_not_to_be_over_is_not_waited_for() -> None:
    drives_now = {"W.to_left": "straight"}
    assert drives(set_up(BLADES, "H to D", drives_now)) == [(0, 200, "W.to_right", "diverging")]


def test_a_blade_waits_for_the_report_or_the_hand_that_the_other_needs() -> None:
    reports = BLADES.replace("K.1 coil 200 ms", "K.1 coil 200 ms detected")
    said = ["W.to_left reports that it lies straight"]
    assert waits(set_up(reports, "H to D"), "W.to_right", "diverging")[-1:] == said
    by_hand = FAN + "drive W.to_left by hand\ndrive W.to_right = K.2 coil 200 ms\n"
    said = ["somebody confirms that W.to_left lies straight"]
    assert waits(set_up(by_hand, "H to D"), "W.to_right", "diverging")[-1:] == said
    said = ["somebody confirms that W.to_right lies straight"]
    timetable = set_up(by_hand, "H to B")
    assert waits(timetable, "W.to_left", "diverging") == said
    assert [t.command.name for t in timetable.commands][-3:-1] == ["W.to_right", "W.to_left"]


def test_the_two_drives_of_a_slip_are_thrown_at_once_for_all_their_ways_are_ways() -> None:
    text = """
    double slip S with two drives
    run edge A - P - >W - S.a1
    run edge B - Q - >X - S.b1
    run S.a2 - C - stop
    run S.b2 - D - stop
    decoder kind rack { outputs 8 }
    decoder K rack at 1
    drive S.end1 = K.1 motor 1 s
    drive S.end2 = K.2 motor 1 s
    """
    for route in ("W to C", "W to D", "X to C", "X to D"):
        assert set_up(text, route).total == 1000


# ------------------------------------------------------------------- cancel and start up


def test_to_cancel_a_route_its_signal_goes_to_stop_and_the_release_is_waited_for() -> None:
    c = compiled(COILS)
    timetable = to_cancel(c.layout, c.table, c.locking, "H to D")
    assert rows(timetable) == [(0, 0, "H", "stop")]
    assert (timetable.what, timetable.of, timetable.total) == ("cancel", "H to D", 0)
    (wait,) = timetable.waits
    assert (wait.kind, wait.name, wait.state) == ("release", "H to D", "released")
    assert "H" in wait.sentence


def test_to_start_up_all_signals_go_to_stop_and_all_drives_to_their_first_position() -> None:
    c = compiled(COILS)
    timetable = to_start_up(c.layout, c.table, c.locking)
    assert rows(timetable) == [
        *((0, 0, signal, "stop") for signal in ("H", "S1", "S2", "S3")),
        (0, 200, "P1", "straight"),
        (450, 600, "P2", "straight"),
    ]
    assert {t.command.route for t in timetable.commands} == {""}
    assert [t.command.step for t in timetable.commands] == list(range(1, 7))


def test_to_start_up_ends_with_reports_and_with_what_is_done_by_hand() -> None:
    text = COILS.replace("P2 = K.2 coil 150 ms", "P2 by hand").replace("200 ms", "200 ms detected")
    c = compiled(text)
    assert [w.sentence for w in to_start_up(c.layout, c.table, c.locking).waits] == [
        "P1 reports that it lies straight",
        "somebody confirms that P2 lies straight",
    ]


def test_all_timetables_are_those_of_each_route_and_the_start_up() -> None:
    c = compiled(COILS)
    known = (c.layout, c.table, c.locking)
    each = [f(*known, name) for name in c.table.routes for f in (to_set, to_cancel)]
    assert c.timetables == (*each, to_start_up(*known))


# ------------------------------------------------------------------- any hardware at all


def all_timetables(layout: Layout) -> tuple[Timetable, ...]:
    c = yard()
    return timetables(layout, c.table, c.locking)


@pytest.mark.parametrize("seed", range(20))
def test_no_timetable_of_a_yard_wired_at_random_breaks_a_limit(seed: int) -> None:
    layout = wired(seed)
    for timetable in all_timetables(layout):
        assert faults(layout, timetable) == []
        assert breaches(layout, [(0, timetable)]) == ()


def test_each_timetable_of_fifteen_such_yards_is_as_short_as_z3_can_make_it() -> None:
    compared = 0
    for seed in range(15):
        layout = wired(seed, by_hand=False)
        for timetable in all_timetables(layout):
            if timetable.what != "cancel" and not timetable.of.startswith("S"):
                before = blades(layout, timetable.of) if timetable.of else []
                assert timetable.total == timetable.bound == shortest(layout, timetable, before)
                compared += 1
    assert compared >= 100


def test_the_player_finds_what_is_wrong() -> None:
    """It would show nothing if it could not."""
    c = compiled(COILS)
    good = set_up(COILS, "H to D")
    assert faults(c.layout, good) == []

    def moved(name: str, at: int) -> list[str]:
        commands = tuple(
            replace(t, at=at, until=at + t.until - t.at) if t.command.name == name else t
            for t in good.commands
        )
        return faults(c.layout, replace(good, commands=commands))  # type: ignore[arg-type]

    assert moved("P2", 449) != []
    assert moved("P1", 250) != []
    assert moved("H", 10) != []
