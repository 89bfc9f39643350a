"""Every kind of layout is drawn as an engineer would: mains level, ladders on one slant, few
crossings and bends."""

from __future__ import annotations

import itertools
import shutil
from math import isclose
from pathlib import Path

import pytest
from in_campaigns import in_campaigns
from picture.beside_dot import Count, by_dot
from picture.counting import bends, bent_pieces, crossings, unlevel_points
from picture.kinds_of_layout import KINDS, station, yard
from picture.read_back import Drawn, read_picture
from picture.test_picture import assert_legible, assert_named, assert_whole
from sound_layouts import compiled, compiled_file

from bellcrank.layout.layout_model import Layout
from bellcrank.picture import draw

CORPUS = sorted((Path(__file__).parents[1] / "corpus").glob("*/railway.crank"))

ROADS = (6, 8, 14, 30)

IN_A_LADDER = {"station of eight", "yard of six", "yard of fourteen", "hidden yard",
               "hidden-storage"}  # fmt: skip
"""Where points lie on a slant: five and more in a row by their straight legs, the roads of
which are level instead."""


def drawn(text: str) -> tuple[Drawn, Layout]:
    layout = compiled(text).layout
    return read_picture(draw(layout)), layout


@pytest.mark.parametrize("name", in_campaigns(KINDS, lambda name: "thirteen" in name))
def test_a_kind_of_layout_is_drawn_whole_and_legibly(name: str) -> None:
    picture, layout = drawn(KINDS[name])
    assert_whole(picture, layout)
    assert_named(picture, layout)
    assert_legible(picture)


@pytest.mark.campaign
@pytest.mark.parametrize("path", CORPUS, ids=lambda path: path.parent.name)
def test_a_layout_of_the_corpus_is_drawn_whole_and_legibly(path: Path) -> None:
    layout = compiled_file(path).layout
    picture = read_picture(draw(layout))
    assert_whole(picture, layout)
    assert_named(picture, layout)
    assert_legible(picture)


@pytest.mark.parametrize("name", KINDS)
def test_straight_to_straight_is_one_row_except_in_ladders(name: str) -> None:
    picture, layout = drawn(KINDS[name])
    assert bool(unlevel_points(picture, layout)) == (name in IN_A_LADDER)
    assert bent_pieces(picture, layout) == []


def test_straight_to_straight_is_one_row_in_the_corpus() -> None:
    for path in CORPUS:
        layout = compiled_file(path).layout
        picture = read_picture(draw(layout))
        assert bool(unlevel_points(picture, layout)) == (path.parent.name in IN_A_LADDER), path
        assert bent_pieces(picture, layout) == [], path


@pytest.mark.parametrize("roads", in_campaigns(ROADS, lambda roads: roads > 8))
@pytest.mark.parametrize("diverging", [True, False])
@pytest.mark.parametrize("joined", [True, False])
def test_the_points_of_a_ladder_lie_on_one_slant_and_its_roads_are_level(
    roads: int, diverging: bool, joined: bool
) -> None:
    picture, _ = drawn(yard(roads, diverging=diverging, joined=joined))
    for side in "PQ" if joined else "P":
        at = [middle(picture, f"{side}{n}") for n in range(1, roads)]
        slope = 1.0 if side == "P" else -1.0
        steps = [(b[0] - a[0], b[1] - a[1]) for a, b in itertools.pairwise(at)]
        assert all(isclose(abs(dx), abs(dy)) for dx, dy in steps)
        assert all(isclose(dy, slope * dx) for dx, dy in steps)
        assert len({round(dx, 2) for dx, _ in steps}) == 1
    rows = [picture.elements[f"R{n}"][0][3] for n in range(1, roads + 1)]
    assert all(len({y for _, y in line}) == 1 for line in rows)
    assert [line[0][1] for line in rows] == sorted(line[0][1] for line in rows)
    assert crossings(picture) == []
    if not joined:  # the stops stand in a column
        assert len({line[-1][0] for line in rows}) == 1


def middle(picture: Drawn, points: str) -> tuple[float, float]:
    """Where the two ways of points part."""
    (*_, one), (*_, other) = picture.elements[points]
    (shared,) = set(one[1:-1]) & set(other[1:-1]) or {dot for dot in one if dot in other[1:-1]}
    return shared


def test_a_main_line_through_a_station_is_one_row_from_edge_to_edge() -> None:
    picture, _ = drawn(station(4))
    rows = {y for name in ("A", "T4", "B", "C") for _, y in picture.elements[name][0][3]}
    assert len(rows) == 1


def test_of_two_roads_that_cross_the_main_is_level() -> None:
    picture, _ = drawn(KINDS["double junction"])
    a, b = picture.elements["DX"]
    assert {way[:2] for way in (a, b)} == {("a1", "a2"), ("b1", "b2")}
    assert len({y for _, y in b[3]}) == 1  # the down main
    assert len({y for _, y in a[3]}) > 1


BY_HAND = {
    "station of two": (0, 2),
    "station of four": (0, 6),
    "station of eight": (0, 4),
    "terminus with a double ladder": (0, 2),
    "terminus with a run-round": (0, 3),
    "double junction": (0, 2),
    "crossovers": (0, 0),
    "scissors": (0, 0),
    "yard of six": (0, 2),
    "goods station": (0, 4),
    "three-way points": (0, 8),
    "slips in series": (0, 2),
    "flyover": (0, 2),
}
"""Crossings and bends of plans drawn by hand: loops and roads bend once at each end at which
they leave another line, ladders and crossovers not at all."""


@pytest.mark.parametrize("name", BY_HAND)
def test_no_more_lines_cross_or_bend_than_in_a_plan_drawn_by_hand(name: str) -> None:
    picture, layout = drawn(KINDS[name])
    assert len(crossings(picture)) <= BY_HAND[name][0]
    assert bends(picture, layout) <= BY_HAND[name][1]


@pytest.mark.skipif(shutil.which("dot") is None, reason="there is no dot on this machine")
def test_fewer_lines_cross_and_bend_than_a_general_purpose_layered_drawing_makes() -> None:
    ours, theirs = Count(0, 0), Count(0, 0)
    for text in KINDS.values():
        picture, layout = drawn(text)
        ours += Count(len(crossings(picture)), bends(picture, layout))
        theirs += by_dot(layout)
    assert ours.crossings < theirs.crossings
    assert ours.bends < theirs.bends


def extent(picture: Drawn, *elements: str) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of some elements."""
    dots = [dot for name in elements for *_, line in picture.elements[name] for dot in line]
    xs, ys = [x for x, _ in dots], [y for _, y in dots]
    return min(xs), min(ys), max(xs), max(ys)


def test_of_two_ovals_that_are_joined_one_lies_inside_the_other() -> None:
    picture, _ = drawn(KINDS["two ovals"])
    outer = extent(picture, "O1", "O2", "O3", "XA", "YA")
    inner = extent(picture, "I1", "I2", "I3")
    assert outer[0] < inner[0] and outer[1] < inner[1]
    assert inner[2] < outer[2] and inner[3] < outer[3]
    assert crossings(picture) == []


def test_of_ovals_that_no_track_joins_each_lies_inside_the_one_before() -> None:
    picture, _ = drawn(KINDS["three ovals"])
    ovals = [extent(picture, f"{name}1", f"{name}2") for name in "ABC"]
    for outer, inner in itertools.pairwise(ovals):
        assert outer[0] < inner[0] and outer[1] < inner[1]
        assert inner[2] < outer[2] and inner[3] < outer[3]


@pytest.mark.parametrize(("kind", "table", "roads"), [("engine shed", "TT", 5),
                                                      ("traverser", "TV", 4)])  # fmt: skip
def test_what_leads_to_many_roads_is_a_frame_from_which_they_lead_level(
    kind: str, table: str, roads: int
) -> None:
    layout = compiled(KINDS[kind]).layout
    svg = draw(layout)
    assert svg.count('class="frame"') == 1
    picture = read_picture(svg)
    ends = [line[-1] for *_, line in picture.elements[table]]
    assert len({x for x, _ in ends}) == 1
    rows = sorted(y for _, y in ends)
    assert len(rows) == roads
    assert len({round(b - a, 2) for a, b in itertools.pairwise(rows)}) == 1
