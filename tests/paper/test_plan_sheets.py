"""The track plan on paper: whole, large enough to read, and the same lines as the picture."""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET
from collections import Counter
from functools import cache

import pytest
from bench_layouts import UNWIRED
from picture.kinds_of_layout import yard
from picture.read_back import read_picture
from sound_layouts import compiled

from bellcrank.paper.plan_sheets import LEAST_LETTER, PlanSheets, plan_sheets
from bellcrank.picture import Annotations, Drawing, drawing, one_way
from bellcrank.picture.measures import TEXT

SVG = "{http://www.w3.org/2000/svg}"


@cache
def plan_of(text: str) -> Drawing:
    c = compiled(text)
    shown = Annotations(key=True, one_way=one_way(c.layout, c.table), positions=True)
    return drawing(c.layout, annotations=shown)


def line_of(pieces: int, long: str = "") -> str:
    """A line of so many pieces of track one after another. long: what makes their names long."""
    pieces_of_it = " -\n ".join(f"PIECE_{long}{n}" for n in range(1, pieces + 1))
    return f'layout "A <long> line"\nrun edge WEST - A - >H - {pieces_of_it} - edge EAST\n'


def lengths(svg: ET.Element) -> tuple[float, float, float]:
    """Width and height in millimetres, and how many of them a unit is."""
    width, height = (float(svg.get(name, "").removesuffix("mm")) for name in ("width", "height"))
    return width, height, width / float(svg.get("viewBox", "").split()[2])


def rows(made: PlanSheets) -> list[list[float]]:
    """What each row shows of the plane: left, top, width and height."""
    return [
        [float(n) for n in row.get("viewBox", "").split()]
        for text in made.sheets
        for row in ET.fromstring(text).findall(f"{SVG}svg")
    ]


def key(svg: ET.Element) -> set[str]:
    return {e.text or "" for e in svg.iter(f"{SVG}text") if e.get("class") == "key-word"}


def test_a_small_plan_stands_on_the_cover_with_every_element_once() -> None:
    made = plan_sheets(plan_of(UNWIRED), "A4")
    assert made.sheets == () and not made.too_long
    assert made.cover is not None
    svg = ET.fromstring(made.cover)
    width, height, scale = lengths(svg)
    assert width <= 184 and height <= 84
    assert scale * TEXT >= LEAST_LETTER
    shown = sorted(e.get("data-element", "") for e in svg.iter() if e.get("data-element"))
    assert shown == ["A", "B", "C", "P"]


def test_its_key_explains_the_symbols_that_it_has_and_its_arrows_say_where_trains_run() -> None:
    cover = plan_sheets(
        plan_of(
            "points P\nrun edge W - A - >H - P.toe\nrun P.straight - B - edge E\n"
            "run P.diverging - C - stop\n"
        ),
        "A4",
    ).cover
    assert cover is not None
    svg = ET.fromstring(cover)
    assert {"signal", "buffer stop", "one way only", "points lie the other way at rest"} <= key(svg)
    assert "shunt signal" not in key(svg)
    (shown,) = (g for g in svg.iter(f"{SVG}g") if g.get("class") == "directions")
    arrows = {e.get("data-on") for e in shown}
    assert arrows == {"A", "B"}


def test_its_colours_stand_in_its_rules_and_its_rules_are_for_it_alone() -> None:
    made = plan_sheets(plan_of(UNWIRED), "A4").cover
    assert made is not None
    style = re.search("<style>(.*?)</style>", made, re.DOTALL)
    assert style is not None
    assert "var(" not in made and "--" not in style[1]
    selectors = [s.strip() for part in re.findall(r"([^{}]+)\{", style[1]) for s in part.split(",")]
    assert len(selectors) > 30
    assert all(re.match(r"\.plan\b", selector) for selector in selectors)
    assert "stroke: #1d242b" in style[1]


@pytest.mark.parametrize("sheet", ["A4", "letter"])
def test_a_long_plan_is_in_rows_that_leave_nothing_out_and_can_be_read(sheet: str) -> None:
    drawn = plan_of(line_of(40))
    made = plan_sheets(drawn, sheet)
    assert made.cover is None and not made.too_long
    *track, below = rows(made)
    assert len(track) > 1
    whole = drawn.picture().track
    assert track[0][0] == pytest.approx(whole.left, abs=0.1)
    assert track[-1][0] + track[-1][2] == pytest.approx(whole.right, abs=0.1)
    for one, other in itertools.pairwise(track):
        assert one[0] + one[2] == pytest.approx(other[0], abs=0.1)
    assert below[1] >= max(row[1] + row[3] for row in track) - 0.1
    for text in made.sheets:
        wide, high, scale = lengths(ET.fromstring(text))
        assert wide <= (271 if sheet == "A4" else 254) and high <= (164 if sheet == "A4" else 170)
        assert scale * TEXT >= LEAST_LETTER - 0.01


@pytest.mark.parametrize("sheet", ["A4", "letter"])
def test_no_row_on_paper_ends_within_a_name_or_a_signal(sheet: str) -> None:
    drawn = plan_of(line_of(40))
    cuts = [row[0] for row in rows(plan_sheets(drawn, sheet))[1:-1]]
    assert cuts
    picture = read_picture(drawn.picture().svg())
    taken = [rect for _, _, rect in picture.names]
    taken += [rect for _, rects in picture.signals.values() for rect in rects]
    assert len(taken) > 40
    assert not [cut for cut in cuts for rect in taken if rect[0] < cut < rect[2]]


def test_each_line_that_is_cut_has_its_letter_twice_over_all_sheets() -> None:
    made = plan_sheets(plan_of(line_of(60, long=20 * "X")), "A4")
    assert len(made.sheets) > 1
    letters = Counter(
        "".join(group.itertext()).strip()
        for text in made.sheets
        for parent in ET.fromstring(text).iter()
        if parent.get("class") != "sample"  # the key explains one letter
        for group in parent.findall(f"{SVG}g[@class='match']")
    )
    assert set(letters.values()) == {2}
    assert len(letters) == len(rows(made)) - 2  # one cut between two rows of track; the last is key


def test_each_sheet_shows_the_plan_that_stands_on_it() -> None:
    made = plan_sheets(plan_of(line_of(60, long=20 * "X")), "A4")
    own = []
    for text in made.sheets:
        svg = ET.fromstring(text)
        (body,) = svg.findall(f"{SVG}defs/{SVG}g")
        own.append(body.get("id"))
        assert {use.get("href") for use in svg.iter(f"{SVG}use")} == {f"#{body.get('id')}"}
        assert re.search("sheet [0-9]+ of [0-9]+$", svg.findtext(f"{SVG}title") or "")
    assert len(own) > 1 and len(set(own)) == len(own)


def test_a_plan_that_is_high_has_its_key_on_the_next_sheet_if_it_must() -> None:
    first, second = map(ET.fromstring, plan_sheets(plan_of(yard(14)), "A4").sheets)
    (track,) = first.findall(f"{SVG}svg")
    (below,) = second.findall(f"{SVG}svg")
    assert float(below.get("viewBox", "").split()[1]) >= sum(
        float(track.get("viewBox", "").split()[n]) for n in (1, 3)
    )


@pytest.mark.parametrize("text", [line_of(150, long=50 * "X"), yard(24)])
def test_a_plan_for_more_than_six_sheets_or_too_high_for_one_is_left_to_the_screen(
    text: str,
) -> None:
    assert plan_sheets(plan_of(text), "A4") == PlanSheets(None, (), too_long=True)


def test_what_is_no_plan_is_refused() -> None:
    with pytest.raises(ValueError, match="not a plan of a layout"):
        plan_sheets("<svg></svg>", "A4")  # type: ignore[arg-type]
