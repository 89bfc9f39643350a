"""Pieces that a `section` line leaves out, and the routes that there are not because of it."""

from __future__ import annotations

import pytest

import bellcrank
from bellcrank import Broken, Sound
from bellcrank.diagnostics import render

CROSSOVER = """\
points P1, P2
run edge DOWN_IN - A - >HA - P1.toe
run P1.straight - <SA - C - edge DOWN_OUT
run edge UP_OUT - B - >HB - P2.straight
run P2.toe - <SB - D - edge UP_IN
run P1.diverging - X - Y - P2.diverging
"""


def said(text: str) -> str:
    c = bellcrank.compile(text)
    return "\n".join(render(d, c.program.texts) for d in c.diagnostics)


def test_a_piece_left_out_is_told_at_the_section_with_the_line_as_it_should_be() -> None:
    text = CROSSOVER + "section CROSSOVER = P1, P2\n"
    assert (
        said(text)
        == """\
layout.crank:7:9: warning W816: X, Y are not in the section CROSSOVER, though they lie between P1
    and P2: so there is no route HA to UP_IN and 1 more, which would leave CROSSOVER and come back
    to it
  7 | section CROSSOVER = P1, P2
    |         ^^^^^^^^^
  try: write `section CROSSOVER = P1, X, Y, P2`"""
    )


@pytest.mark.parametrize(
    ("line", "mended"),
    [
        ("section THROAT = P2, P1, X", "section THROAT = P2, Y, P1, X"),
        (
            "section THROAT = P1, P2 without detection",
            "section THROAT = P1, X, Y, P2 without detection",
        ),
        ("section THROAT = D, P2, P1", "section THROAT = D, P2, Y, X, P1"),
    ],
)
def test_what_is_told_to_write_brings_the_routes_back(line: str, mended: str) -> None:
    found = bellcrank.compile(CROSSOVER + line)
    (warning,) = (d for d in found.diagnostics if d.code == "W816")
    assert warning.hint == f"write `{mended}`"
    whole = bellcrank.compile(CROSSOVER + mended)
    assert not isinstance(found, Broken) and not isinstance(whole, Broken)
    assert "HA to UP_IN" not in found.table.routes
    assert "HA to UP_IN" in whole.table.routes and not said(CROSSOVER + mended).count("W816")


def test_a_signal_left_without_routes_is_an_error_at_the_section() -> None:
    text = "run edge W - A - >H - B - C - D - edge E\nsection BD = B, D\n"
    assert (
        said(text)
        == """\
layout.crank:2:9: error E403: C is not in the section BD, though it lies between B and D: so there
    is no route H to E, which would leave BD and come back to it
  2 | section BD = B, D
    |         ^^
  try: write `section BD = B, C, D`"""
    )


def test_a_route_line_over_the_gap_is_told_at_the_section_too() -> None:
    text = (
        CROSSOVER
        + "section THROAT = P1, P2\nroutes written\nroute HA to UP_IN\nroute HB to UP_IN\n"
    )
    assert (
        said(text)
        == """\
layout.crank:7:9: error E403: X, Y are not in the section THROAT, though they lie between P1 and P2:
    so `HA to UP_IN` would leave THROAT and come back to it
  7 | section THROAT = P1, P2
    |         ^^^^^^
  try: write `section THROAT = P1, X, Y, P2`
  layout.crank:9:7: the route
  9 | route HA to UP_IN
    |       ^^^^^^^^^^^"""
    )


@pytest.mark.parametrize(
    ("why", "road"),
    [
        ("a signal stands between", "B - >J - C - D"),
        ("a signal read the other way stands there", "B - <J - C - D"),
        ("the track between is of another section", "B - C - C2 - D"),
    ],
)
def test_track_that_is_no_mere_gap_is_not_taken_for_one(why: str, road: str) -> None:
    text = f"""\
points P1
run edge W - A - >H - P1.toe
run P1.straight - {road} - stop
run P1.diverging - E - edge S
section BD = B, D
"""
    text += "section CC = C, C2\n" if "C2" in road else ""
    codes = [d.code for d in bellcrank.compile(text).diagnostics]
    assert "W816" not in codes, why
    assert ("W803" in codes) == (">J" not in road)


def test_a_section_in_two_parts_with_a_signal_between_is_told_once_with_its_parts() -> None:
    text = (
        "points Y1, Y2\nrun edge MAIN - A - >HM - X - Y1.toe\n"
        "run Y1.straight - <G1 - R1 - stop\nrun Y1.diverging - Y2.toe\n"
        "run Y2.straight - <G2 - R2 - stop\nrun Y2.diverging - <G3 - R3 - stop\n"
        "section YARD = Y1, Y2, A\n"
    )
    told = [d for d in bellcrank.compile(text).diagnostics if d.code == "E403"]
    assert [d.hint for d in told] == [
        "Y1, Y2 lie apart from A in one section: make a section of each"
    ]
    apart = text.replace("YARD = Y1, Y2, A", "YARD = Y1, Y2")
    assert isinstance(bellcrank.compile(apart), Sound)
