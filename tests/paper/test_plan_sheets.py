"""The track plan on paper: whole, large enough to read, and the same lines as the picture."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from functools import cache

import pytest
from bench_layouts import UNWIRED

import bellcrank
from bellcrank.paper.plan_sheets import (
    AGAIN,
    LEAST_LETTER,
    LEAST_LETTER_IN_STRIPS,
    PlanSheets,
    plan_sheets,
)
from bellcrank.picture import Picture, draw_and_tell
from bellcrank.picture.measures import TEXT

SVG = "{http://www.w3.org/2000/svg}"


@cache
def picture(text: str) -> Picture:
    layout = bellcrank.compile(text).layout
    assert layout is not None
    return draw_and_tell(layout)[0]


def line_of(pieces: int) -> str:
    """A line of so many pieces of track one after another, with a signal at its beginning."""
    pieces_of_it = " - ".join(f"PIECE_{n}" for n in range(1, pieces + 1))
    return f'layout "A <long> line"\nrun edge WEST - A - >H - {pieces_of_it} - edge EAST\n'


def as_wide_as(units: int) -> Picture:
    """A picture with much white at its right."""
    return replace(picture(UNWIRED), left=-14, top=-36, width=units, height=100)


def lengths(svg: ET.Element) -> tuple[float, float, float]:
    """Width and height in millimetres, and how many of them a unit is."""
    width, height = (float(svg.get(name, "").removesuffix("mm")) for name in ("width", "height"))
    return width, height, width / float(svg.get("viewBox", "").split()[2])


def strips(made: PlanSheets) -> list[ET.Element]:
    return [s for text in made.sheets for s in ET.fromstring(text).findall(f"{SVG}svg")]


def test_a_small_plan_stands_on_the_cover_with_every_element_once() -> None:
    made = plan_sheets(picture(UNWIRED), "A4")
    assert made.sheets == () and not made.too_long
    svg = ET.fromstring(made.cover)
    width, height, scale = lengths(svg)
    assert width <= 184 and height <= 64
    assert scale * TEXT >= LEAST_LETTER
    shown = sorted(e.get("data-element", "") for e in svg.iter() if e.get("data-element"))
    assert shown == ["A", "B", "C", "P"]


def test_its_colours_stand_in_its_rules_and_its_rules_are_for_it_alone() -> None:
    made = plan_sheets(picture(UNWIRED), "A4").cover
    style = re.search("<style>(.*?)</style>", made, re.DOTALL)
    assert style is not None
    assert "var(" not in made and "--" not in style[1]
    selectors = [s.strip() for part in re.findall(r"([^{}]+)\{", style[1]) for s in part.split(",")]
    assert len(selectors) > 30
    assert all(re.match(r"\.plan\b", selector) for selector in selectors)
    assert "stroke: #1d242b" in style[1]


@pytest.mark.parametrize("sheet", ["A4", "letter"])
def test_a_long_plan_is_cut_into_strips_that_leave_nothing_out_and_can_be_read(sheet: str) -> None:
    drawn = picture(line_of(40))
    left, width = drawn.left, drawn.width
    made = plan_sheets(picture(line_of(40)), sheet)
    assert made.cover is None and not made.too_long
    views = [[float(n) for n in s.get("viewBox", "").split()] for s in strips(made)]
    assert len(views) > 1
    assert views[0][0] == pytest.approx(left + 10, abs=0.1)
    assert views[-1][0] + views[-1][2] == pytest.approx(left + width - 10, abs=0.1)
    for one, other in itertools.pairwise(views):
        assert one[0] + one[2] - other[0] == pytest.approx(AGAIN, abs=0.1)
    for strip, view in zip(strips(made), views, strict=True):
        assert float(strip.get("width", "")) / view[2] * TEXT >= LEAST_LETTER_IN_STRIPS - 0.01
    for text in made.sheets:
        wide, high, _ = lengths(ET.fromstring(text))
        assert wide <= (271 if sheet == "A4" else 254) and high <= (149 if sheet == "A4" else 155)


def test_each_strip_shows_the_plan_of_its_own_sheet() -> None:
    made = plan_sheets(as_wide_as(20_000), "A4")
    assert len(made.sheets) > 1
    own = []
    for text in made.sheets:
        svg = ET.fromstring(text)
        (body,) = svg.findall(f"{SVG}defs/{SVG}g")
        own.append(body.get("id"))
        assert {use.get("href") for use in svg.iter(f"{SVG}use")} == {f"#{body.get('id')}"}
        assert re.search("strips [0-9]+ to [0-9]+ of [0-9]+$", svg.findtext(f"{SVG}title") or "")
    assert len(set(own)) == len(own)


def test_a_plan_for_more_than_six_sheets_is_left_to_the_screen() -> None:
    made = plan_sheets(as_wide_as(90_000), "A4")
    assert made == PlanSheets(None, (), too_long=True)


def test_what_is_no_picture_is_refused() -> None:
    with pytest.raises(ValueError, match="not a picture of a layout"):
        plan_sheets("<svg></svg>", "A4")  # type: ignore[arg-type]
