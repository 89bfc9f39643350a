"""What an overlap keeps clear and where its drives must lie."""

from __future__ import annotations

from compiled import table_of, warnings

import bellcrank

JUNCTION = """\
points P1
run edge W - A - >H0 - B - >H - P1.toe
run P1.straight - C - edge E
run P1.diverging - D - edge F
"""


def test_points_met_at_the_toe_at_the_end_of_an_overlap_may_lie_either_way():
    overlap = table_of(JUNCTION + "overlap H = P1\n").routes["H0 to H"].overlap
    assert overlap is not None
    assert (overlap.sections, overlap.positions) == (("P1",), ())


def test_points_within_an_overlap_lie_for_the_way_that_is_named():
    overlap = table_of(JUNCTION + "overlap H = P1, D\n").routes["H0 to H"].overlap
    assert overlap is not None
    assert (overlap.sections, overlap.positions) == (("P1", "D"), (("P1", "diverging"),))


def test_points_met_from_a_branch_lie_for_it():
    text = "points P1\nrun edge W - A - >H0 - B - >H - P1.diverging\n"
    text += "run P1.toe - C - edge E\nrun P1.straight - <J - D - edge F\noverlap H = P1\n"
    overlap = table_of(text).routes["H0 to H"].overlap
    assert overlap is not None and overlap.positions == (("P1", "diverging"),)


def test_a_slip_at_the_end_needs_what_every_way_on_needs():
    text = """\
double slip X with two drives
run edge W - A - >H0 - B - >S - X.a1
run X.a2 - C - edge E
run edge N - D - >R - X.b1
run X.b2 - G - edge Z
overlap S = X
"""
    overlap = table_of(text).routes["H0 to S"].overlap
    assert overlap is not None and overlap.positions == (("X.end2", "a1"),)


def test_a_fitting_that_can_lie_for_no_way_on_is_not_the_end_of_an_overlap():
    text = """\
three way points T
run edge W - A - >H0 - B - >H - T.toe
run T.left - C - stop
run T.straight - D - stop
run T.right - E - stop
"""
    (found,) = bellcrank.compile(text + "overlap H = T\n").diagnostics
    assert found.code == "E405"
    assert found.hint is not None and "`H = … T, C`" in found.hint
    assert table_of(text + "overlap H = T, C\n")


def test_an_overlap_at_which_no_route_ends_is_warned_of():
    assert warnings("run edge W - A - >H - B - edge E\noverlap H = B\n") == ["W807"]
