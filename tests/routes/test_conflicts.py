"""The reasons why two routes conflict."""

from __future__ import annotations

from compiled import kinds, table_of

SLIP = """\
double slip S with one drive
run edge W - A - >H - S.a1
run edge V - B - >J - S.b1
run S.a2 - <K - C - edge E
run S.b2 - <L - D - edge F
"""


def test_the_straight_roads_of_a_slip_cross():
    assert kinds(table_of(SLIP), "H to E", "J to F") == ["crossing"]


def test_the_slip_roads_of_a_slip_lie_side_by_side():
    assert kinds(table_of(SLIP), "H to F", "J to E") == ["fouling"]


def test_two_ways_in_from_one_leg_need_the_drive_two_ways():
    assert kinds(table_of(SLIP), "H to E", "H to F") == ["opposed drive", "shared section"]


def test_in_and_out_over_one_road_is_head_on():
    table = table_of(SLIP)
    assert kinds(table, "H to E", "K to W") == ["head-on"]
    (reason,) = table.reasons("H to E", "K to W")
    assert reason.where == ("S",)


def test_routes_that_only_share_a_detector_share_a_section():
    text = "run edge W - A - >H - B - edge E\nrun edge V - C - >J - D - edge F\nsection N = B, D\n"
    assert kinds(table_of(text), "H to E", "J to F") == ["shared section"]


def test_a_route_into_an_overlap_conflicts_and_the_way_on_does_not():
    text = "run edge W - A - >H - B - >J - C - <K - D - edge E\noverlap J = C\n"
    table = table_of(text)
    assert kinds(table, "H to J", "J to E") == []
    assert "overlap" in kinds(table, "H to J", "K to W")


def test_routes_far_apart_do_not_conflict():
    text = "run edge W - A - >H - B - edge E\nrun edge V - C - >J - D - edge F\n"
    assert table_of(text).conflicts == {}


def test_reasons_are_the_same_whichever_route_is_named_first():
    table = table_of(SLIP)
    for first in table.routes:
        for second in table.routes:
            assert table.reasons(first, second) == table.reasons(second, first)
            assert (second in table.conflicting[first]) == bool(table.reasons(first, second))
