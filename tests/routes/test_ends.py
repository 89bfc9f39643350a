"""Roads that routes lead trains into, and the signals that let them out again."""

from __future__ import annotations

import pytest

import bellcrank
from bellcrank.diagnostics import Diagnostic

NO_WAY_BACK = "no train goes back the way it came, as no signal lets it, out of"

HALT = """\
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - T1 - stop
"""


def warned(text: str) -> list[Diagnostic]:
    return [d for d in bellcrank.compile(text).diagnostics if d.code == "W814"]


def assumed(text: str) -> str | None:
    return bellcrank.compile(text).machine.assumptions.get("no way back")


def test_a_road_with_a_signal_that_lets_trains_out_is_well() -> None:
    text = HALT + "run P1.diverging - <S2 - T2 - stop\n"
    assert warned(text) == [] and assumed(text) is None


@pytest.mark.parametrize(
    ("road", "mended"),
    [
        ("run P1.diverging - T2 - stop", "P1.diverging - <S_T2 - T2"),
        ("run stop - T2 - P1.diverging", "T2 - >S_T2 - P1.diverging"),
    ],
)
def test_a_road_without_one_is_warned_of_and_the_signal_to_write_is_told(
    road: str, mended: str
) -> None:
    (found,) = warned(HALT + road + "\n")
    assert "H to T2 leads into T2 can never leave it" in found.message
    assert found.span.line == 4
    assert found.hint == f"write `{mended}`, with a name of your own"
    assert assumed(HALT + road) == f"{NO_WAY_BACK} T2"
    # What is told is right.
    ends = ("T2", "P1.diverging") if road.endswith("diverging") else ("P1.diverging", "T2")
    mend = road.replace(" - ".join(ends), mended)
    assert mend != road and warned(HALT + mend) == [] and assumed(HALT + mend) is None


def test_one_starter_for_two_sidings_does_not_do_and_neither_does_one_in_mid_road() -> None:
    shared = """\
points P1, P3
run edge WEST - A - >H - P1.toe
run P1.diverging - <S2 - T3 - stop
run P1.straight - <S1 - N - P3.toe
run P3.straight - T1 - stop
run P3.diverging - T2 - stop
"""
    assert [d.span.line for d in warned(shared)] == [5, 6]
    assert assumed(shared) == f"{NO_WAY_BACK} T1, T2"
    middle = HALT.replace("T1 -", "T1 - >M - T1B -") + "run P1.diverging - <S2 - T2 - stop\n"
    (found,) = warned(middle)
    assert found.hint == "write `T1 - <S_T1B - T1B`, with a name of your own"


def test_where_trains_go_on_or_out_it_is_assumed_that_none_comes_back() -> None:
    text = "run edge W - A - >H - B - >J - C - edge E\n"
    assert warned(text) == []
    assert assumed(text) == f"{NO_WAY_BACK} B, C"
