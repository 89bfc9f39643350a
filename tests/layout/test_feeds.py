"""Gaps and feeds, tried on the rails as an electrical network of their own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import networkx as nx
import pytest
from laid import laid, laid_with_warnings
from rail_network import OTHER, rails

from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.feeds import Feed, Gap, feeds, gaps
from bellcrank.layout.layout_model import Layout, Leg
from bellcrank.syntax.load import load_file

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))

PASSING = """\
points P1, P2
section WEST_END = A, C
section EAST_END = B, D
run edge WEST - A - C - >H1 - P1.toe
run P1.straight - <H2 - T1 - >H3 - P2.straight
run P1.diverging - T2 - P2.diverging
run P2.toe - <H4 - B - D - edge EAST
"""

BALLOON = """\
points P1
run edge HILL - A - >H - P1.toe
run P1.straight - LA - >L1 - <L2 - LB - P1.diverging
reverser LA, LB
"""

CROSSING = """\
fixed diamond X
run edge WEST - A - >H - X.a1
run X.a2 - B - stop
run edge NORTH - C - >J - X.b1
run X.b2 - D - stop
"""


def faults(layout: Layout, cuts: Sequence[Gap], wires: Sequence[Feed]) -> set[str]:
    """What is wrong with rails that are cut and fed like this."""
    net = rails(layout, cuts)
    found: set[str] = set()
    fed: dict[tuple[Leg, str], Feed] = {}
    back: set[tuple[Leg, str]] = set()
    for feed in wires:
        assert feed.hand is not None
        island = nx.node_connected_component(net, (feed.at, feed.hand))
        if island & fed.keys():
            found.add("fed twice")
        fed.update(dict.fromkeys(island, feed))
        back |= nx.node_connected_component(net, (feed.at, OTHER[feed.hand]))
    if fed.keys() & back:
        found.add("short circuit")
    if set(net) - fed.keys() - back:
        found.add("dead")
    for (leg, _), feed in fed.items():
        section = layout.section_of[leg.element]
        if feed.detected and feed.sections != (section,):
            found.add("told of the wrong section")
    # Two boosters must not feed one rail.
    district_of = {e: d.name for d in layout.districts.values() for e in d.elements}
    for part in nx.connected_components(net):
        if len({district_of.get(leg.element) for leg, _ in part}) > 1:
            found.add("districts bridged")
    # A reverser swaps its two wires by itself, so nothing else may be joined to either.
    for part in nx.connected_components(net):
        if len({leg.element in layout.reversers for leg, _ in part}) == 2:
            found.add("reverser bridged")
    return found


def from_example(path: Path) -> Layout:
    program, _ = load_file(path)
    layout, _ = build_layout(program)
    return layout


TWO_RAILS = [path for path in EXAMPLES if from_example(path).rails == 2]


DISTRICTS = (
    PASSING
    + """\
district WESTERN { feeds WEST_END, P1, T1  gives 15 V, 3 A  fuse 3 A  wires 6 m }
district EASTERN { feeds the rest }
"""
)

TURNED = BALLOON + "district LOOP { feeds LA, LB }\ndistrict LINE { feeds the rest }\n"


@pytest.mark.parametrize("text", [PASSING, BALLOON, CROSSING, DISTRICTS, TURNED])
def test_with_the_gaps_as_listed_every_rail_is_fed_once(text: str):
    layout = laid(text)
    assert faults(layout, gaps(layout), feeds(layout)) == set()


@pytest.mark.parametrize("path", TWO_RAILS, ids=lambda path: path.stem)
def test_every_rail_of_every_example_is_fed_once(path: Path):
    layout = from_example(path)
    assert faults(layout, gaps(layout), feeds(layout)) == set()


@pytest.mark.parametrize("text", [PASSING, BALLOON, CROSSING, DISTRICTS, TURNED])
def test_a_gap_that_is_missing_is_found(text: str):
    layout = laid(text)
    cuts = gaps(layout)
    assert cuts
    for gap in cuts:
        assert faults(layout, [g for g in cuts if g != gap], feeds(layout)), gap


def test_a_gap_in_the_other_rail_is_found():
    layout = laid(PASSING)
    cuts = gaps(layout)
    for gap in cuts:
        assert gap.hand is not None
        wrong = replace(gap, hand="left" if gap.hand == "right" else "right")
        assert faults(layout, [wrong if g == gap else g for g in cuts], feeds(layout)), gap


def test_the_joints_between_sections_are_cut_and_no_others():
    layout = laid(PASSING)
    assert {(str(g.one), str(g.other)) for g in gaps(layout)} == {
        ("C.right", "P1.toe"),
        ("P1.straight", "T1.left"),
        ("T1.right", "P2.straight"),
        ("P1.diverging", "T2.left"),
        ("T2.right", "P2.diverging"),
        ("P2.toe", "B.left"),
    }
    assert [g.signals for g in gaps(layout) if g.signals] == [("H1",), ("H2",), ("H3",), ("H4",)]


def test_a_reverser_is_cut_off_in_both_rails_and_feeds_all_sections_behind_it():
    layout = laid(BALLOON)
    both = [g for g in gaps(layout) if g.cut == "both rails"]
    assert {(str(g.one), str(g.other)) for g in both} == {
        ("P1.straight", "LA.left"),
        ("LB.right", "P1.diverging"),
    }
    assert {f.sections: f.reverser for f in feeds(layout)} == {
        ("A",): None,
        ("P1",): None,
        ("LA",): 1,
        ("LB",): 1,
    }


def test_each_road_of_a_diamond_has_a_feed_of_its_own():
    layout = laid(CROSSING)
    assert [f.sections for f in feeds(layout)].count(("X",)) == 2


def test_track_that_nothing_detects_is_cut_nowhere_and_fed_as_one():
    layout = laid('layout "By eye" on two rails without detection\n' + PASSING)
    (feed,) = feeds(layout)
    assert gaps(layout) == () and not feed.detected


def test_of_rails_that_a_loop_joins_no_side_is_told():
    layout, _ = laid_with_warnings(BALLOON.replace("reverser LA, LB\n", ""))
    assert {g.hand for g in gaps(layout)} == {None}


def test_on_three_rails_the_detector_says_what_is_cut():
    layout = laid('layout "Centre" on three rails\n' + PASSING)
    assert {(g.cut, g.hand) for g in gaps(layout)} == {("one rail or centre conductor", None)}


def test_between_districts_both_rails_are_cut_and_each_has_feeds_of_its_own():
    layout = laid(DISTRICTS)
    both = {(str(g.one), str(g.other)) for g in gaps(layout) if g.cut == "both rails"}
    assert both == {("T1.right", "P2.straight"), ("P1.diverging", "T2.left")}
    assert {(f.sections, f.district) for f in feeds(layout)} >= {
        (("WEST_END",), "WESTERN"),
        (("T2",), "EASTERN"),
    }


def test_districts_are_told_apart_where_nothing_is_detected():
    layout = laid('layout "By eye" on two rails without detection\n' + DISTRICTS)
    assert faults(layout, gaps(layout), feeds(layout)) == set()
    assert {f.district for f in feeds(layout)} == {"WESTERN", "EASTERN"}


def test_on_three_rails_the_centre_conductor_is_cut_between_districts():
    layout = laid('layout "Centre" on three rails\n' + DISTRICTS)
    centre = {str(g.one) for g in gaps(layout) if g.cut == "centre conductor"}
    assert centre == {"T1.right", "P1.diverging"}


def test_a_section_that_a_reverser_feeds_in_part_is_warned_of():
    _, said = laid_with_warnings("section LOOP = P1, LA\n" + BALLOON)
    assert [(d.code, d.hint) for d in said] == [("W881", "make a section of its own of LA")]
    _, said = laid_with_warnings("section LOOP = P1, LA without detection\n" + BALLOON)
    assert said == ()
