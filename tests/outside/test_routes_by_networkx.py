"""Routes against networkx simple paths over a graph made from a plain table."""

from __future__ import annotations

from collections import Counter

import networkx as nx
import pytest
from drawn_layouts import DRAWN, HARBOUR, key_of
from plain_table import PlainRoute, Table, find_routes, movements
from random_layouts import shown, valid_layouts
from sound_layouts import compiled

import bellcrank
from bellcrank.routes.route_model import Route


def assert_same_route(ours: Route, plain: PlainRoute) -> None:
    """What the compiler says of a route is what the table says."""
    assert ours.sections == plain.sections
    assert dict(ours.positions) == plain.positions
    assert ours.overlap_sections == plain.overlap_sections
    assert dict(ours.overlap_positions) == plain.overlap_positions
    assert dict(ours.flank) == plain.flank


def assert_same_routes(compilation: bellcrank.Sound, plain: list[PlainRoute]) -> None:
    ours = {key_of(route): route for route in compilation.table.routes.values()}
    assert len(ours) == len(compilation.table.routes), "two routes go one way"
    expected = {route.key: route for route in plain}
    assert ours.keys() == expected.keys()
    for key, route in ours.items():
        assert_same_route(route, expected[key])


@pytest.mark.parametrize("name", DRAWN)
def test_the_routes_of_a_drawn_layout_are_the_simple_paths_of_its_table(name: str) -> None:
    drawn = DRAWN[name]
    compilation = compiled(drawn.text)
    assert_same_routes(compilation, find_routes(drawn.table))


def test_the_harbour_has_the_routes_that_a_person_counts() -> None:
    # Counted with a finger on the plan: common practice.
    expected = {
        ("W1", "G1"), ("W1", "T1"), ("W1", "T2"),
        ("G1", "T1"), ("G1", "T2"), ("Y1", "T1"), ("Y1", "T2"),
        ("D1", "WEST"), ("D1", "G2"), ("D1", "YARD"),
        ("D2", "WEST"), ("D2", "G2"), ("D2", "YARD"),
        ("G2", "WEST"),
    }  # fmt: skip
    routes = find_routes(HARBOUR.table)
    assert Counter((r.start, r.end) for r in routes) == Counter(expected)
    compilation = bellcrank.compile(HARBOUR.text)
    ours = compilation.table.routes.values()
    assert Counter((r.start, r.end) for r in ours) == Counter(expected)


def test_no_way_leads_from_one_branch_leg_of_points_to_the_other() -> None:
    table = Table(
        fittings={"P": "points"},
        joints=[
            ("edge A", "KA.left"), ("KA.right", "P.straight"),
            ("edge B", "KB.left"), ("KB.right", "P.diverging"),
            ("P.toe", "KC.left"), ("KC.right", "edge C"),
        ],
        signals={
            "SA": ("KA.right", "P.straight"),
            "SB": ("KB.right", "P.diverging"),
            "SC": ("KC.left", "P.toe"),
        },
    )  # fmt: skip
    graph = movements(table)
    assert not nx.has_path(graph, ("P.straight", "in"), ("P.diverging", "out"))
    compilation = bellcrank.compile("""
        points P
        run edge A - KA - >SA - P.straight
        run edge B - KB - >SB - P.diverging
        run P.toe - <SC - KC - edge C
    """)
    assert set(compilation.table.routes) == {"SA to C", "SB to C", "SC to A", "SC to B"}
    assert_same_routes(compilation, find_routes(table))


def test_the_routes_of_random_layouts_are_the_simple_paths_of_their_tables() -> None:
    layouts = valid_layouts(range(200))
    seen: Counter[str] = Counter()
    for layout, compilation in layouts:
        with shown(layout):
            assert_same_routes(compilation, layout.routes)
        seen.update(layout.table.fittings.values())
        seen["coupled"] += bool(layout.table.coupled)
        seen["overlaps"] += any(r.overlap_sections for r in layout.routes)
        seen["flanks"] += any(r.flank for r in layout.routes)
        seen["calling on"] += any(r.calling_on for r in layout.routes)
        starts = Counter((r.start, r.end, r.calling_on) for r in layout.routes)
        seen["two ways"] += max(starts.values()) > 1
        seen["loops"] += any(d.code == "W801" for d in compilation.diagnostics)
    # Nothing above was left out by chance: seven kinds of fitting and all the rest.
    assert len(seen) == 13, seen
    assert min(seen.values()) >= 10, seen
