"""Slips of the pen that leave a layout without errors: each is warned of at its place, once,
with what to write instead; and where that is written, nothing is warned of any more."""

from __future__ import annotations

import pytest

import bellcrank
from bellcrank.diagnostics import Diagnostic, render

STATION = """\
points P1, P2
run edge WEST - A - >W - P1.toe
run P1.straight - <W1 - R1 - >E1 - P2.straight
run P1.diverging - <W2 - R2 - >E2 - P2.diverging
run P2.toe - <E - B - edge EAST
"""

HALT = """\
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - T1 - stop
run P1.diverging - <S2 - T2 - stop
"""


def diagnostics(text: str) -> tuple[Diagnostic, ...]:
    return bellcrank.compile(text).diagnostics


def said(text: str) -> str:
    c = bellcrank.compile(text)
    return "\n".join(render(d, c.program.texts) for d in c.diagnostics)


def without(text: str, part: str, instead: str = "") -> str:
    """The layout with a slip in it."""
    assert text.count(part) == 1
    return text.replace(part, instead)


@pytest.mark.parametrize("text", [STATION, HALT])
def test_nothing_is_said_of_what_is_right(text: str) -> None:
    assert said(text) == ""


def test_nothing_is_said_of_a_layout_without_any_signal() -> None:
    assert diagnostics("run edge W - A - B - edge E\n") == ()


# ------------------------------------------------------------ forgotten arrows


def test_a_piece_named_like_the_signals_has_lost_its_arrow() -> None:
    assert (
        said(without(STATION, ">E1", "E1"))
        == """\
layout.crank:3:30: warning W818: E1 is a piece of plain track, though it is named like the signals
    E2 and E: no train reads it
  3 | run P1.straight - <W1 - R1 - E1 - P2.straight
    |                              ^^
  try: did you mean `>E1`?"""
    )


@pytest.mark.parametrize("signal", [">W", "<W1", ">E1", "<W2", ">E2", "<E"])
def test_the_arrow_that_was_there_is_the_one_that_is_told(signal: str) -> None:
    (found,) = diagnostics(without(STATION, f"{signal} ", f"{signal[1:]} "))
    assert (found.code, found.hint) == ("W818", f"did you mean `{signal}`?")


def test_a_piece_at_which_a_route_is_said_to_begin_has_lost_its_arrow() -> None:
    text = without(HALT, ">H", "H") + "expect H to T1 never with S2 to WEST\n"
    found = next(d for d in diagnostics(text) if d.code == "W818")
    assert found.message == (
        "H is a piece of plain track, though a route is said to begin there: no train reads it"
    )
    assert (found.span.line, found.span.column, found.hint) == (2, 21, "did you mean `>H`?")


@pytest.mark.parametrize("line", ["signal H shunt", "route H to T1"])
def test_a_line_about_a_signal_that_is_a_piece_tells_its_arrow(line: str) -> None:
    (found,) = diagnostics(without(HALT, ">H", "H") + line)
    assert found.hint == "write `>H` in the run if H is a signal"


def test_a_piece_that_a_section_or_a_via_names_is_one() -> None:
    text = without(STATION, ">E1", "E1")
    assert said(text + "section ROAD = R1, E1\n") == ""
    assert said(text + "route W to EAST via E1\n") == ""


# --------------------------------------------------------------- edges


def test_a_home_that_was_forgotten_is_missed_by_those_that_no_route_leads_up_to() -> None:
    assert (
        said(without(STATION, ">W - "))
        == """\
layout.crank:2:10: warning W815: trains that come in at WEST meet no signal before P1, and no route
    leads up to E1 and E2, read by trains that run this way
  2 | run edge WEST - A - P1.toe
    |          ^^^^
  try: write `A - >S_A - P1.toe`, with a name of your own"""
    )


def test_at_a_terminus_it_is_missed_by_those_that_let_trains_out_again() -> None:
    assert (
        said(without(HALT, ">H - "))
        == """\
layout.crank:2:10: warning W815: trains that come in at WEST meet no signal before P1, and no route
    leads a train to S1 and S2
  2 | run edge WEST - A - P1.toe
    |          ^^^^
  try: write `A - >S_A - P1.toe`, with a name of your own"""
    )


@pytest.mark.parametrize(
    ("run", "hint"),
    [
        ("run P1.toe - A - edge WEST", "P1.toe - <S_A - A"),
        ("run edge WEST - P1.toe", "edge WEST - >S_WEST - P1.toe"),
        ("run P1.toe - edge WEST", "P1.toe - <S_WEST - edge WEST"),
    ],
)
def test_the_signal_to_write_fits_the_run(run: str, hint: str) -> None:
    text = without(HALT, "run edge WEST - A - >H - P1.toe", run)
    (found,) = diagnostics(text)
    assert found.hint == f"write `{hint}`, with a name of your own"
    ends = hint.split(" - ")
    mended = text.replace(f"{ends[0]} - {ends[2]}", hint)
    assert mended != text and said(mended) == ""


def test_a_home_that_is_turned_round_is_told_at_the_signal() -> None:
    assert (
        said(without(STATION, ">W ", "<W "))
        == """\
layout.crank:2:22: warning W815: trains that come in at WEST meet no signal before P1, and no route
    leads up to E1 and E2, read by trains that run this way
  2 | run edge WEST - A - <W - P1.toe
    |                      ^
  try: write `>W` if it is read by trains that come in"""
    )


def test_an_edge_by_which_trains_only_leave_needs_no_signal() -> None:
    text = """\
points PA, PB
run edge A_IN - A1 - >HA - PA.toe
run PA.straight - A2 - edge A_OUT
run edge B_OUT - B1 - >HB - PB.straight
run PB.toe - <SB - B2 - edge B_IN
run PA.diverging - PB.diverging
"""
    assert said(text) == ""


# --------------------------------------------------------------- signals


def test_a_starter_that_is_turned_round_has_trains_wait_over_the_points() -> None:
    assert (
        said(without(STATION, ">E1", "<E1"))
        == """\
layout.crank:3:31: warning W819: a train that E to E1 leads up to E1 waits on P2, so that nothing
    else can pass there
  3 | run P1.straight - <W1 - R1 - <E1 - P2.straight
    |                               ^^
  try: write `>E1` if it is read by trains that leave R1"""
    )


def test_a_starter_turned_towards_the_stop_is_warned_of_once() -> None:
    (found,) = diagnostics(without(HALT, "<S1", ">S1"))
    assert (found.code, found.hint) == ("W819", "write `<S1` if it is read by trains that leave T1")


def test_where_a_signal_read_the_other_way_shares_the_joint_track_is_missing_before_it() -> None:
    text = without(STATION, "P2.toe - <E", "P2.toe - >X - <E")
    (found,) = diagnostics(text.replace(" - >E1", "").replace(" - >E2", ""))
    assert (found.code, found.hint) == ("W819", "put a piece of track between P2.toe and X")


@pytest.mark.parametrize(
    "road",
    [
        "run P1.straight - >M - P3.toe",  # between two fittings
        "run P1.straight - N - >M - T3 - P3.toe",  # there is track to wait on
    ],
)
def test_a_signal_before_which_a_train_may_stand_is_well(road: str) -> None:
    text = without(HALT, "run P1.straight - <S1 - T1 - stop", road).replace("P1\n", "P1, P3\n")
    text += "run P3.straight - <S4 - T4 - stop\nrun P3.diverging - <S5 - T5 - stop\n"
    assert "W819" not in [d.code for d in diagnostics(text)]


def test_track_in_one_section_with_the_points_is_track_to_wait_on() -> None:
    text = without(STATION, "R1 - >E1 - P2.straight", "R1 - P2.straight")
    text = without(text, "P2.toe - <E - B", "P2.toe - >E1 - <E - B")
    assert "W819" in [d.code for d in diagnostics(text)]
    assert "W819" not in [d.code for d in diagnostics(text + "section ROAD = R1, P2\n")]


WRITTEN = (
    HALT
    + """\
routes written
route H to T1
route H to T2
route S1 to WEST
route S2 to WEST
"""
)


def test_a_signal_at_which_no_route_line_begins_keeps_trains_for_good() -> None:
    assert said(WRITTEN) == ""
    assert (
        said(without(WRITTEN, "route S2 to WEST\n"))
        == """\
layout.crank:4:21: warning W820: no `route` line begins at S2, so a train that H to T2 leads to it
    can never go on
  4 | run P1.diverging - <S2 - T2 - stop
    |                     ^^
  try: write `route S2 to WEST`"""
    )


def test_a_home_at_which_no_route_line_begins_keeps_trains_from_the_edge() -> None:
    text = without(without(WRITTEN, "route H to T1\n"), "route H to T2\n")
    (found,) = (d for d in diagnostics(text) if d.code == "W820")
    assert found.message == (
        "no `route` line begins at H, so a train that comes to it from the edge can never go on"
    )
    assert found.hint == "write `route H to T1`"


def test_a_road_is_warned_of_once_though_trains_can_neither_go_on_nor_back() -> None:
    text = "run edge W - A - >H - B - >J - C - stop\nroutes written\nroute H to J\n"
    (found,) = diagnostics(text)
    assert (found.code, found.hint) == ("W820", "write `route J to C`")


def test_a_signal_to_which_no_route_line_leads_is_for_trains_put_down_by_hand() -> None:
    assert (
        said(without(WRITTEN, "route H to T2\n"))
        == """\
layout.crank:4:21: warning W817: no train comes to S2: no route leads one there, and none comes from
    an edge; only one that is put down there by hand
  4 | run P1.diverging - <S2 - T2 - stop
    |                     ^^
  try: write `route H to T2`"""
    )


def test_a_signal_that_no_route_line_names_at_all_is_out_of_use() -> None:
    text = without(without(WRITTEN, "route H to T2\n"), "route S2 to WEST\n")
    assert said(text) == ""


def test_trains_that_may_go_back_need_not_go_on() -> None:
    written = "routes written\nroute W to E1\nroute W1 to WEST\nroute E to W2\nroute E2 to EAST\n"
    assert said(STATION + written) == ""
