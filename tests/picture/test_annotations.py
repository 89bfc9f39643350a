"""What makes a plan of the bare track: title, key, directions, and how points lie at rest."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from itertools import pairwise
from math import hypot, inf

import pytest
from picture.read_back import Dot, read_picture
from sound_layouts import compiled

from bellcrank.compilation import Sound
from bellcrank.layout.layout_model import Leg
from bellcrank.picture import (
    Annotations,
    draw,
    draw_and_tell,
    one_way,
    route_overlay,
    sections_named,
)
from bellcrank.picture.measures import text_width

SVG = "{http://www.w3.org/2000/svg}"

DOUBLE_LINE = """\
points PD, PU
run edge DOWN_W - DA - >D1 - PD.toe
run PD.straight - DB - >D2 - DC - edge DOWN_E
run edge UP_W - UC - <U3 - UB - PU.toe
run PU.straight - <U1 - UA - edge UP_E
run PD.diverging - X - edge OUT
run PU.diverging - <V - Y - edge IN
"""

HALT = """\
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - B - stop
run P1.diverging - <S2 - C - stop
"""


def directions(text: str) -> dict[str, str]:
    c = compiled(text)
    return {leg.element: leg.leg for leg in one_way(c.layout, c.table)}


def marks(svg: str, kind: str) -> list[ET.Element]:
    return [e for e in ET.fromstring(svg).iter() if e.get("class") == kind]


def key_words(c: Sound) -> list[str | None]:
    shown = Annotations(key=True, one_way=one_way(c.layout, c.table), positions=True)
    return [e.text for e in marks(draw_and_tell(c.layout, annotations=shown)[0].svg(), "key-word")]


def from_line(dot: Dot, line: list[Dot]) -> float:
    """How far a point is from a line, by steps of a hundredth of each part."""
    found = inf
    for (x0, y0), (x1, y1) in pairwise(line):
        for k in range(101):
            x, y = x0 + (x1 - x0) * k / 100, y0 + (y1 - y0) * k / 100
            found = min(found, hypot(x - dot[0], y - dot[1]))
    return found


def test_track_of_a_double_line_has_its_direction() -> None:
    told = directions(DOUBLE_LINE)
    assert {name: told[name] for name in ("DA", "DB", "DC")} == dict.fromkeys(
        ("DA", "DB", "DC"), "left"
    )
    assert {name: told[name] for name in ("UA", "UB", "UC")} == dict.fromkeys(
        ("UA", "UB", "UC"), "right"
    )


def test_track_that_trains_use_both_ways_and_sidings_have_none() -> None:
    assert directions(HALT) == {}
    assert directions("run edge W - A - >H - B - stop\n") == {}


def test_a_ring_of_plain_track_with_one_signal_has_its_direction() -> None:
    layout = compiled("run A - >H - B - A\n")
    assert one_way(layout.layout, layout.table) == (Leg("A", "left"), Leg("B", "left"))


def test_an_arrow_lies_on_its_track_and_points_as_trains_run() -> None:
    c = compiled(DOUBLE_LINE)
    shown = Annotations(one_way=one_way(c.layout, c.table))
    svg = draw_and_tell(c.layout, annotations=shown)[0].svg()
    track = read_picture(svg).elements
    found = {e.get("data-on", ""): e.get("d", "") for e in marks(svg, "one-way")}
    for name, sign in (("DA", 1), ("UA", -1)):
        wing, tip, other = (
            tuple(map(float, part.split()))
            for part in found[name].removeprefix("M").removesuffix("Z").split("L")
        )
        assert (tip[0] - wing[0]) * sign > 0
        assert wing[0] == pytest.approx(other[0], abs=0.02)
        assert from_line((tip[0], tip[1]), track[name][0][3]) < 1


def test_on_an_oval_arrows_lie_on_the_straight() -> None:
    c = compiled("run A - >H - B - >J - A\n")
    shown = Annotations(one_way=one_way(c.layout, c.table))
    svg = draw_and_tell(c.layout, annotations=shown)[0].svg()
    track = read_picture(svg).elements
    tips = {
        e.get("data-on", ""): e.get("d", "").split("L")[1].split() for e in marks(svg, "one-way")
    }
    assert sorted(tips) == ["A", "B"]
    for name, (x, y) in tips.items():
        assert from_line((float(x), float(y)), track[name][0][3]) < 1


def test_a_leg_against_which_points_lie_at_rest_has_a_gap() -> None:
    c = compiled(HALT)
    svg = draw_and_tell(c.layout, annotations=Annotations(positions=True))[0].svg()
    (gap,) = marks(svg, "against")
    middle = (
        (float(gap.get("x1", "")) + float(gap.get("x2", ""))) / 2,
        (float(gap.get("y1", "")) + float(gap.get("y2", ""))) / 2,
    )
    ways = {way[1]: way[3] for way in read_picture(svg).elements["P1"]}
    assert from_line(middle, ways["diverging"]) < 0.5
    assert from_line(middle, ways["straight"]) > 5


def test_three_way_points_have_two_gaps_and_slips_none() -> None:
    text = """\
three way points P1
double slip S1 with one drive
run edge WEST - A - >H - P1.toe
run P1.straight - S1.a1
run P1.left - S1.b1
run P1.right - <S2 - C - stop
run S1.a2 - <S3 - D - stop
run S1.b2 - <S4 - E - stop
"""
    c = compiled(text)
    svg = draw_and_tell(c.layout, annotations=Annotations(positions=True))[0].svg()
    assert [e.get("data-at") for e in marks(svg, "against")] == ["P1", "P1"]


TABLE = """\
fitting shed {
  legs in, a, b
  drive turn with left, right
  way in - a when turn left
  way in - b when turn right
  drawn as turntable
}
shed F
run edge WEST - >H - A - F.in
run F.a - <S1 - B - stop
run F.b - <S2 - C - stop
"""


def test_the_key_has_the_symbols_that_are_used_and_no_others() -> None:
    assert key_words(compiled(HALT)) == [
        "signal", "end of a section", "buffer stop", "track goes on",
        "points lie the other way at rest",
    ]  # fmt: skip
    assert "turntable" in key_words(compiled(TABLE))
    assert "traverser" in key_words(compiled(TABLE.replace("as turntable", "as traverser")))
    ring = compiled("run A - >H - B - A\nsignal H shunt\n")
    assert key_words(ring) == ["shunt signal", "end of a section", "one way only"]


def test_the_title_stands_below_the_plan_and_what_it_is_drawn_from_below_that() -> None:
    layout = compiled(HALT).layout
    shown = Annotations("Marsh Halt & Quay", "Drawn from halt.crank.", key=True)
    svg = draw_and_tell(layout, annotations=shown)[0].svg()
    (title,), (origin,) = marks(svg, "plan-heading"), marks(svg, "plan-origin")
    assert (title.text, origin.text) == ("Marsh Halt & Quay", "Drawn from halt.crank.")
    heights = [float(e.get("y", "")) for e in (*marks(svg, "key-word"), title, origin)]
    picture = read_picture(svg)
    assert heights == sorted(heights)
    assert max(rect[3] for _, _, rect in picture.names) < heights[0]
    assert heights[-1] < picture.whole[3]


def test_of_a_plan_in_rows_the_key_is_as_wide_as_a_row() -> None:
    text = "run edge W - " + " - ".join(f"T{n} - >H{n}" for n in range(12)) + " - B - edge E\n"
    layout = compiled(text).layout
    shown = Annotations("A long line", "Drawn from line.crank.", key=True)
    drawn, _ = draw_and_tell(layout, width=500, annotations=shown)
    whole = ET.fromstring(drawn.svg())
    assert len(list(whole.iter(SVG + "svg"))) > 3
    assert float(whole.get("width", "")) <= 500
    (rule,) = marks(drawn.svg(), "plan-rule")
    assert float(rule.get("d", "").split("h")[1]) <= 500


def test_a_long_title_and_what_it_is_drawn_from_are_broken_where_rows_are_narrow() -> None:
    text = "run edge W - " + " - ".join(f"T{n} - >H{n}" for n in range(12)) + " - B - edge E\n"
    title, origin = "The line over the moor and far away " * 3, "Drawn from moor.crank, " * 6
    shown = Annotations(title.strip(), origin.strip(), key=True)
    svg = draw_and_tell(compiled(text).layout, width=420, annotations=shown)[0].svg()
    for kind, whole in (("plan-heading", title), ("plan-origin", origin)):
        lines = [e.text or "" for e in marks(svg, kind)]
        assert len(lines) > 1
        assert " ".join(lines) == whole.strip()
        size = 16.0 if kind == "plan-heading" else 11.0
        assert all(text_width(line, size) <= 420 for line in lines)


def test_the_key_of_a_plan_with_a_route_has_the_symbols_of_the_track_as_well() -> None:
    c = compiled(HALT)
    overlay = route_overlay(c.layout, next(iter(c.table.routes.values())))
    shown = Annotations(key=True)
    svg = draw_and_tell(c.layout, overlay, annotations=shown)[0].svg()
    words = [e.text for e in marks(svg, "key-word")]
    assert words[-5:] == ["route", "signal", "end of a section", "buffer stop", "track goes on"]


def test_the_key_of_a_plan_in_rows_says_what_the_letters_mean() -> None:
    text = "run edge W - " + " - ".join(f"T{n} - >H{n}" for n in range(12)) + " - B - edge E\n"
    layout, shown = compiled(text).layout, Annotations(key=True)
    told = [
        [
            e.text
            for e in marks(draw_and_tell(layout, width=w, annotations=shown)[0].svg(), "key-word")
        ]
        for w in (500, None)
    ]
    assert "goes on at the same letter" in told[0]
    assert "goes on at the same letter" not in told[1]


def test_without_annotations_there_is_the_track_alone() -> None:
    layout = compiled(HALT).layout
    assert draw_and_tell(layout, annotations=Annotations())[0].svg() == draw(layout)


def test_a_section_of_several_elements_is_named_once_and_one_without_detection_said_to_be() -> None:
    text = HALT + "section NECK = P1, A\nsection SIDING = B without detection\n"
    assert sections_named(compiled(text).layout) == {
        ("element", "A"): ("in NECK",),
        ("element", "B"): ("in SIDING, undetected",),
    }
