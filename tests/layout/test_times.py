"""Times of approach locking, overlaps, drives and reports."""

from __future__ import annotations

import pytest
from laid import laid, laid_with_warnings

from bellcrank.layout.build_layout import build_layout
from bellcrank.syntax.load import load_text

JUNCTION = """\
points P1
run edge WEST - A - >G - Z - >H - P1.toe
run P1.straight - <S1 - B - stop
run P1.diverging - <S2 - C - stop
overlap H = P1
"""

MOTOR = """\
decoder kind quad { outputs 4 }
decoder K1 quad at 1
drive P1 = K1.1  motor 4 s  detected
"""


def test_where_nothing_is_said_times_are_what_is_common_practice():
    times = laid(JUNCTION).times
    assert times.approach_locking.of("H") == 30_000
    assert times.overlap.of("H") == 10_000
    assert times.drive.of("P1") == 5_000
    assert times.section_report.of("A") == times.drive_report.of("P1") == 500


def test_a_time_for_all_holds_wherever_no_other_is_stated():
    text = "time of approach locking 20 s\ntime of approach locking 60 s at H, S1\n"
    times = laid(JUNCTION + text).times
    assert [times.approach_locking.of(s) for s in ("G", "H", "S1", "S2")] == [
        20_000, 60_000, 60_000, 20_000,
    ]  # fmt: skip


def test_the_order_of_the_lines_does_not_matter():
    lines = ["time of approach locking 60 s at H\n", "time of approach locking 20 s\n"]
    forth, back = (laid(JUNCTION + "".join(some)).times for some in (lines, lines[::-1]))
    assert forth.approach_locking == back.approach_locking


def test_an_overlap_has_its_time_by_the_signal_it_lies_beyond():
    times = laid(JUNCTION + "time of overlap 12.5 s at H\n").times
    assert times.overlap.of("H") == 12_500


def test_a_name_of_points_means_the_report_of_their_section_and_of_their_drive():
    times = laid(JUNCTION + "drive P1 detected\ntime of report 200 ms for P1, A\n").times
    assert times.section_report.by == {"P1": 200, "A": 200}
    assert times.drive_report.by == {"P1": 200}
    assert times.section_report.of("B") == 500


def test_a_time_of_report_for_all_is_that_of_sections_and_of_drives():
    times = laid(JUNCTION + "time of report 100 ms\n").times
    assert times.section_report.of("A") == times.drive_report.of("P1") == 100


def test_a_drive_that_takes_long_has_twice_its_time_unless_another_is_stated():
    assert laid(JUNCTION + MOTOR).times.drive.of("P1") == 8_000
    assert laid(JUNCTION + MOTOR + "time of drive 6 s\n").times.drive.of("P1") == 6_000
    assert laid(JUNCTION + MOTOR + "time of drive 9 s for P1\n").times.drive.of("P1") == 9_000
    quick = MOTOR.replace("4 s", "1 s")
    assert laid(JUNCTION + quick).times.drive.of("P1") == 5_000


def test_a_drive_may_settle_for_longer_than_it_travels():
    slow = MOTOR.replace("motor 4 s", "coil 200 ms  settles 3 s")
    assert laid(JUNCTION + slow).times.drive.of("P1") == 6_000


def test_coupled_drives_have_one_time_by_any_of_their_names():
    text = """\
points PA, PB
coupled PA, PB
run edge A_WEST - A1 - >HA - PA.toe
run PA.straight - A2 - edge A_EAST
run edge B_WEST - B1 - >HB - PB.straight
run PB.toe - B2 - edge B_EAST
run PA.diverging - PB.diverging
drive PA detected
time of drive 7 s for PB
"""
    assert laid(text).times.drive.of("PA") == 7_000


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("time of approach locking 2 s", "W843"),
        ("time of overlap 300 s", "W843"),
        ("time of drive 30 s", "W843"),
        ("time of report 5 ms", "W843"),
        ("time of drive 4 s for P1", "W844"),
        ("time of overlap 20 s at G", "W844"),
        ("section REST = A, B without detection\ntime of report 100 ms for REST", "W844"),
    ],
)
def test_a_time_that_is_unusual_or_never_waited_for_is_warned_of(line: str, code: str):
    _, said = laid_with_warnings(JUNCTION + line)
    assert [d.code for d in said] == [code]


@pytest.mark.parametrize("line", ["time of drive 4 s", "time of drive 3 s for P1"])
def test_a_drive_that_cannot_be_in_time_is_warned_of(line: str):
    _, said = laid_with_warnings(JUNCTION + MOTOR + line)
    assert [(d.code, d.hint) for d in said] == [("W846", "state a time of 8 s for P1")]


@pytest.mark.parametrize(
    ("said", "hint"),
    [
        ("time of approach locking 30", "write `30 s`"),
        ("time of overlap 10", "write `10 s`"),
        ("time of drive 4", "write `4 s`"),
        ("time of report 500", "write `500 ms`"),
        ("time of approach locking 2 min", "write `120 s`"),
        ("time of approach locking 0.5 minutes", "write `30 s`"),
        ("time of approach locking 900 s", None),
        ("time of report 11 s", None),
        ("time of overlap 0 s", None),
    ],
)
def test_a_time_without_its_unit_or_out_of_all_reason_is_an_error(said: str, hint: str | None):
    _, found = build_layout(load_text(JUNCTION + said, "layout.crank")[0])
    assert [(d.code, d.hint) for d in found] == [("E606", hint)]
