"""What the layout wants drawn above what is drawn so, or it is said that it is not."""

from __future__ import annotations

import random
from itertools import combinations
from pathlib import Path

import pytest
from picture.read_back import Drawn, read_picture
from picture.test_picture import assert_legible, assert_named, assert_whole, ways_in_order
from random_layouts import shown, valid_layouts
from sound_layouts import checked, compiled

import bellcrank
from bellcrank.document.build_document import build_document
from bellcrank.picture import draw, draw_and_tell

EXAMPLES = Path(__file__).parent.parent.parent / "examples"

HALT = """\
layout "Marsh Halt"
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - B - stop
run P1.diverging - <S2 - C - stop
"""


def drawn(text: str) -> tuple[Drawn, list[str]]:
    """The picture read back, and the codes of its warnings."""
    c = compiled(text)
    drawn, said = draw_and_tell(c.layout)
    return read_picture(drawn.svg()), [d.code for d in said]


def row(picture: Drawn, element: str) -> float:
    """How far down an element lies, by the mean of its points."""
    points = [point for way in picture.elements[element] for point in way[3]]
    return sum(y for _, y in points) / len(points)


def side_by_side(picture: Drawn, one: str, other: str) -> bool:
    """Whether two elements share more than a joint's width from left to right."""
    spans = []
    for name in (one, other):
        xs = [x for way in picture.elements[name] for x, _ in way[3]]
        spans.append((min(xs), max(xs)))
    (a, b), (c, d) = spans
    return min(b, d) - max(a, c) > 5


def test_either_of_two_roads_is_drawn_above_if_it_is_wished() -> None:
    for upper, lower in (("B", "C"), ("C", "B")):
        picture, said = drawn(HALT + f"draw {upper} above {lower}\n")
        assert said == []
        assert row(picture, upper) < row(picture, lower)


@pytest.mark.parametrize(
    ("example", "wish"),
    [
        ("four-track-station", "draw T4 above T3 above T2 above T1"),
        ("four-track-station", "draw T1 above T2 above T3 above T4"),
        ("four-track-station", "draw PB above PA"),
        ("harbour-terminus", "draw T1 above T2"),
        ("harbour-terminus", "draw Y above G"),
        ("turning-loop", "draw ENGINE above B"),
        ("hand-worked-branch", "draw SHED above GOODS"),
    ],
)
def test_wishes_about_the_examples_are_kept_and_no_line_crosses_for_it(
    example: str, wish: str
) -> None:
    text = (EXAMPLES / f"{example}.crank").read_text("utf-8") + wish + "\n"
    picture, said = drawn(text)
    assert said == []
    names = wish.removeprefix("draw ").split(" above ")
    rows = [row(picture, name) for name in names]
    assert rows == sorted(rows) and len(set(rows)) == len(rows)
    assert "parapet" not in draw(compiled(text).layout).split("</style>")[1]  # type: ignore[arg-type]


def test_no_line_crosses_for_a_wish_and_that_is_said() -> None:
    text = """\
points P1, P2
run edge WEST - A - >H - P1.toe
run P1.straight - M - P2.toe
run P1.diverging - <K - C - stop
run P2.straight - <S1 - B - stop
run P2.diverging - <S2 - D - stop
draw B above C above D
"""
    c = compiled(text)
    drawn, said = draw_and_tell(c.layout)
    assert [d.message for d in said] == [
        "C is not drawn above D: more lines would have to cross for it"
    ]
    picture = read_picture(drawn.svg())
    assert row(picture, "B") < row(picture, "C")
    assert "parapet" not in drawn.body


def test_track_of_one_line_is_not_drawn_above_itself_and_that_is_said() -> None:
    c = compiled(HALT.replace("- B -", "- B1 - B -") + "draw B1 above B\n")
    _, (warning,) = draw_and_tell(c.layout)
    assert (warning.code, warning.severity) == ("W813", "warning")
    assert (warning.span.line, warning.span.column, warning.span.end_column) == (6, 6, 16)
    assert warning.message == "B1 is not drawn above B: they lie on one line"


def test_what_lies_end_to_end_is_not_drawn_one_above_the_other_and_that_is_said() -> None:
    c = compiled(HALT + "draw A above C\n")
    _, (warning,) = draw_and_tell(c.layout)
    assert warning.message == (
        "A is not drawn above C: nowhere in the picture do they lie one above the other"
    )


def test_of_wishes_about_the_same_two_lines_the_first_is_kept() -> None:
    text = HALT.replace("- B -", "- B1 - B -").replace("- C -", "- C1 - C -")
    c = compiled(text + "draw C above B\ndraw B1 above C1\n")
    drawn, (warning,) = draw_and_tell(c.layout)
    assert "B1 is not drawn above C1: other `draw` lines" in warning.message
    picture = read_picture(drawn.svg())
    assert row(picture, "C") < row(picture, "B")
    assert row(picture, "C1") < row(picture, "B1")


def test_nothing_but_the_picture_depends_on_it() -> None:
    plain, wished = (
        build_document(checked(HALT + more)).plain for more in ("", "draw C above B\n")
    )
    assert plain.pop("source") != wished.pop("source")
    assert plain == wished


@pytest.mark.campaign
def test_wishes_by_chance_are_kept_or_told_of_and_the_picture_stays_whole() -> None:
    kept = 0
    for made, c in valid_layouts(range(500, 512)):
        with shown(made):
            rng = random.Random(made.seed)
            plain = [name for name, e in c.layout.elements.items() if e.plain]
            pairs = list(combinations(plain, 2))
            wishes = [rng.sample(pair, 2) for pair in rng.sample(pairs, min(3, len(pairs)))]
            text = made.text + "".join(f"draw {a} above {b}\n" for a, b in wishes)
            wished = bellcrank.compile(text)
            if isinstance(wished, bellcrank.Broken):  # three wishes may make a ring
                assert {d.code for d in wished.diagnostics if d.severity == "error"} == {"E331"}
                continue
            assert wished.layout
            drawn, said = draw_and_tell(wished.layout)
            picture = read_picture(drawn.svg())
            ways_in_order(picture, wished.layout)
            assert_whole(picture, wished.layout)
            assert_named(picture, wished.layout)
            assert_legible(picture)
            unkept = {d.message.split(":")[0] for d in said}
            for a, b in wishes:
                if f"{a} is not drawn above {b}" not in unkept and side_by_side(picture, a, b):
                    assert row(picture, a) < row(picture, b), (a, b)
                    kept += 1
    assert kept > 3
