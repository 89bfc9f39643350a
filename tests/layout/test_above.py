"""What is to be drawn above what: names that are right, and no contradiction."""

from __future__ import annotations

from laid import laid

from bellcrank.diagnostics import Diagnostic
from bellcrank.layout.build_layout import build_layout
from bellcrank.syntax.load import load_text

JUNCTION = """\
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - B - stop
run P1.diverging - <S2 - C - stop
"""


def pairs(text: str) -> list[tuple[str, str]]:
    return [(above.upper, above.lower) for above in laid(JUNCTION + text).above]


def wrong(text: str) -> tuple[Diagnostic, ...]:
    program, unread = load_text(JUNCTION + text, "layout.crank")
    assert unread == ()
    return build_layout(program)[1]


def test_pieces_fittings_and_edges_may_be_named():
    assert pairs("draw B above C\ndraw WEST above P1\n") == [("B", "C"), ("WEST", "P1")]


def test_names_that_follow_each_other_lie_one_below_the_other():
    assert pairs("draw A above B above C\n") == [("A", "B"), ("B", "C")]


def test_a_layout_without_such_a_line_wishes_nothing():
    assert pairs("") == []


def test_what_is_said_twice_is_no_contradiction():
    assert pairs("draw B above C\ndraw B above C\n") == [("B", "C"), ("B", "C")]


def test_a_misspelt_name_is_told_once_with_one_that_is_like_it():
    found = wrong("draw A above WESST above B\n")
    assert [d.code for d in found] == ["E201"]
    assert found[0].hint == "did you mean `WEST`?"
    assert (found[0].span.line, found[0].span.column, found[0].span.end_column) == (5, 14, 19)


def test_a_signal_is_not_drawn_above_anything():
    (found,) = wrong("draw S1 above B\n")
    assert found.message == "`S1` is a signal, not a piece, fitting or edge"


def test_nothing_is_drawn_above_itself():
    (found,) = wrong("draw B above B\n")
    assert (found.code, found.message) == ("E331", "B cannot be drawn above itself")
    assert (found.span.line, found.span.column) == (5, 14)


def test_a_ring_of_wishes_is_told_where_it_closes_with_all_that_are_in_it():
    (found,) = wrong("draw A above B\ndraw P1 above B\ndraw B above C\ndraw C above A\n")
    assert found.code == "E331"
    assert found.message == "C cannot be drawn above A and A above B, B above C"
    assert (found.span.line, found.span.column) == (8, 14)
    assert [span.line for span, _ in found.related] == [5, 7]


def test_of_a_long_ring_only_the_first_are_named():
    names = [f"T{k}" for k in range(20)]
    text = JUNCTION.replace("- B -", f"- {' - '.join(names)} - B -")
    program, _ = load_text(text + f"draw {' above '.join(names)}\ndraw T19 above T0\n", "layout")
    (found,) = build_layout(program)[1]
    assert found.message.endswith("T4 above T5, T5 above T6 and 13 more")
    assert len(found.related) == 6
