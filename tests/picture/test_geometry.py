"""Every kind of layout is drawn as an engineer would: mains level, ladders on one slant, few
crossings and bends."""

from __future__ import annotations

import itertools
import shutil
from math import isclose

import pytest
from in_campaigns import in_campaigns
from picture.beside_dot import Count, by_dot, ends_aslant
from picture.counting import apexes, bends, bent_pieces, crossings, parting_of, unlevel_points
from picture.drawn_layouts import Drawable, corpus, examples, networks
from picture.geometry_table import measure
from picture.kinds_of_layout import KINDS, station, yard
from picture.read_back import Drawn, read_picture
from picture.test_picture import assert_legible, assert_named, assert_whole
from sound_layouts import compiled

from bellcrank.layout.layout_model import Layout
from bellcrank.picture import draw

ROADS = (6, 8, 14, 30)

IN_A_LADDER = {"station of eight", "yard of six", "yard of fourteen", "hidden yard",
               "hidden storage"}  # fmt: skip
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


@pytest.mark.parametrize("name", KINDS)
def test_straight_to_straight_is_one_row_except_in_ladders(name: str) -> None:
    picture, layout = drawn(KINDS[name])
    assert bool(unlevel_points(picture, layout)) == (name in IN_A_LADDER)
    assert bent_pieces(picture, layout) == []


SHOWN_QUICKLY = {"scissors terminus", "figure of eight", "roundhouse", "single lead", "zigzag"}


@pytest.mark.parametrize(
    "one",
    in_campaigns([*examples(), *corpus(), *networks()], lambda one: one.name not in SHOWN_QUICKLY),
    ids=lambda one: one.name,
)
def test_a_layout_of_the_corpus_is_level_whole_and_legible_without_false_diamonds(
    one: Drawable,
) -> None:
    layout = one.compiled().layout
    picture = read_picture(draw(layout))
    assert_whole(picture, layout)
    assert_named(picture, layout)
    assert_legible(picture)
    found = measure(picture, layout)
    assert found.faults == 0, found
    assert bool(found.ladders) == (one.name in IN_A_LADDER)


def test_sixty_layouts_of_the_corpus_and_more_are_measured() -> None:
    assert len([*corpus(), *networks()]) >= 60


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
    "station of two": (0, 2, "the loop bends at either end"),
    "station of four": (0, 6, "three loops, one above the other, each bent twice"),
    "station of eight": (0, 4, "the first points turn off on the slant, the last road bends twice"),
    "terminus with a double ladder": (0, 2, "the outermost road of either ladder"),
    "terminus with a run-round": (0, 2, "the loop at its far end, and the siding"),
    "double junction": (0, 2, "the two branch lines come level; the diamond is on their slant"),
    "crossovers": (0, 0, "slants from line to line"),
    "scissors": (0, 0, "two slants that cross"),
    "yard of six": (0, 2, "the first points turn off on the slant, the last road comes level"),
    "goods station": (0, 4, "both ends of one loop, the far end of the other, the last siding"),
    "three-way points": (0, 4, "the four roads that are the outer ones of points or of the three"),
    "slips in series": (0, 2, "one slant down through three slips, and one up"),
    "slips in a main": (0, 2, "the two sidings that come off the slips on a slant"),
    "figure of eight": (0, 4, "the slanting road of the diamond at either end, and the loop"),
    "flyover": (0, 2, "each branch where it comes level"),
}
"""Crossings and bends of plans drawn by hand, and where they bend: a line that leaves another on a
slant bends once where it comes level, ladders and crossovers nowhere."""


@pytest.mark.parametrize("name", BY_HAND)
def test_no_more_lines_cross_or_bend_than_in_a_plan_drawn_by_hand(name: str) -> None:
    picture, layout = drawn(KINDS[name])
    most_crossings, most_bends, _ = BY_HAND[name]
    assert len(crossings(picture)) <= most_crossings
    assert bends(picture, layout) <= most_bends


MORE_THAN_DOT = {
    "wye": "each of its two legs must leave the main on a slant, be level to hold its signals, and "
    "slant to the apex: two bends a leg; the toe turns once. Dot draws a leg as one line, at an "
    "angle of its own on which no signal stands level",
}
"""Where lines bend more often than in a drawing of dot whose roads end level as well, and why."""


@pytest.mark.skipif(shutil.which("dot") is None, reason="there is no dot on this machine")
def test_no_more_lines_cross_or_bend_than_a_general_purpose_layered_drawing_makes() -> None:
    ours, theirs = Count(0, 0), Count(0, 0)
    for name, text in KINDS.items():
        picture, layout = drawn(text)
        here = Count(len(crossings(picture)), bends(picture, layout), ends_aslant(picture, layout))
        dot = by_dot(layout)
        # Where dot has none, none is the best there can be.
        assert here.crossings <= dot.crossings, name
        # Dot lets roads end at any slant; to come level, each of them would bend once more.
        assert here.aslant == 0, name
        assert (here.bends > dot.bends + dot.aslant) == (name in MORE_THAN_DOT), (name, here, dot)
        ours += here
        theirs += dot
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
    assert svg.count('class="frame pit"') == 1
    picture = read_picture(svg)
    ends = [line[-1] for *_, line in picture.elements[table]]
    assert len({x for x, _ in ends}) == 1
    rows = sorted(y for _, y in ends)
    assert len(rows) == roads
    assert len({round(b - a, 2) for a, b in itertools.pairwise(rows)}) == 1


def test_a_turntable_is_a_circle_from_the_middle_of_which_its_roads_fan_out() -> None:
    layout = compiled(KINDS["engine shed"]).layout
    svg = draw(layout)
    assert '<circle class="frame pit"' in svg and '<rect class="frame' not in svg
    picture = read_picture(svg)
    left, top, right, bottom = picture.frames["TT"]
    middle = ((left + right) / 2, (top + bottom) / 2)
    lines = [line for *_, line in picture.elements["TT"]]
    assert all(middle in line for line in lines[:2] + lines[3:])  # the third is straight
    assert len({line[-1][0] for line in lines}) == 1
    ys = [line[-1][1] for line in lines]
    assert min(ys) + max(ys) == pytest.approx(2 * middle[1])


def test_a_traverser_is_a_pit_across_which_roads_lead_level() -> None:
    layout = compiled(KINDS["traverser"]).layout
    svg = draw(layout)
    assert '<rect class="frame pit"' in svg
    for *_, line in read_picture(svg).elements["TV"]:
        assert all(a[0] == b[0] or a[1] == b[1] for a, b in itertools.pairwise(line))


def test_a_wye_is_a_level_main_with_two_slanting_legs_to_an_apex() -> None:
    picture, layout = drawn(KINDS["wye"])
    assert apexes(picture, layout) == ["N"]
    main = {y for name in ("A", "M", "B") for _, y in picture.elements[name][0][3]}
    assert len(main) == 1
    (_, _, _, one), (_, _, _, other) = picture.elements["N"]
    apex = parting_of(picture, layout, "N")
    assert one[-1][0] < apex[0] < other[-1][0]  # a leg to either side
    assert one[-1][1] < apex[1] < one[0][1]  # both up, and the toe down
    assert crossings(picture) == []


def test_a_table_with_few_roads_is_drawn_as_one_all_the_same() -> None:
    text = """\
layout "Shed"
fitting small table {
  legs lead, one, two
  drive first, second
  way lead - one when first
  way lead - two when second
  drawn as turntable
}
small table TT
run edge WEST - A - >H - TT.lead
run TT.one - <S1 - R1 - stop
run TT.two - <S2 - R2 - stop
"""
    assert '<circle class="frame pit"' in draw(compiled(text).layout)
    plain = draw(compiled(text.replace("  drawn as turntable\n", "")).layout)
    assert 'class="frame' not in plain
