"""Frogs on paper: together where the same is to be said, each with what gives its polarity."""

from __future__ import annotations

from bench_layouts import told

from bellcrank.paper.frog_list import FrogRow, frog_rows

TEXT = """\
points P1, P2
double slip S1 with one drive
fixed diamond X1
run edge WEST - A - >H - P1.toe
run P1.straight - P2.toe
run P1.diverging - <N - B - stop
run P2.straight - S1.a1
run P2.diverging - X1.a1
run edge YARD - Y - >YH - S1.b1
run S1.a2 - <D1 - T1 - stop
run S1.b2 - <D2 - T2 - stop
run X1.a2 - <D3 - T3 - stop
run edge QUAY - Q - >QH - X1.b1
run X1.b2 - <D4 - T4 - stop
decoder kind quad { outputs 4 }
decoder K1 quad at 1
"""


def rows(more: str) -> dict[str, FrogRow]:
    return {", ".join(row.names): row for row in frog_rows(told(TEXT + more))}


def test_points_of_which_nothing_is_said_stand_in_one_row():
    found = rows("")
    row = found["P1, P2"]
    assert (row.by, row.of) == ("could be contact", None)
    assert [(c.own, c.leg, c.facing) for c in row.cases] == [
        ("straight", "straight", "diverging"),
        ("diverging", "diverging", "straight"),
    ]
    assert found["S1.end1"].by == found["X1.end2"].by == "open"
    assert "X1.obtuse1" not in found


def test_a_frog_on_an_output_stands_alone_with_the_side_for_each_leg():
    found = rows("frog S1.end1 = K1.3 crossed\nfrog S1.end2 = K1.4\nfrog P1 with drive\n")
    assert [(found[name].by, found[name].of) for name in ("P1", "P2")] == [
        ("contact", None),
        ("could be contact", None),
    ]
    row = found["S1.end1"]
    assert (row.by, row.of) == ("output", "K1.3")
    assert [(c.ways, c.leg, c.side) for c in row.cases] == [
        ((("a1", "a2"), ("a1", "b2")), "a1", "red"),
        ((("b1", "b2"), ("b1", "a2")), "b1", "green"),
    ]


def test_a_dead_frog_has_no_polarity_and_one_by_a_reverser_says_when_it_changes():
    found = rows("frog X1.end1 dead\nfrog X1.end2 by reverser\n")
    assert (found["X1.end1"].by, found["X1.end1"].cases) == ("dead", ())
    assert found["X1.end2"].by == "reverser"
    assert [c.leg for c in found["X1.end2"].cases] == ["a2", "b2"]
