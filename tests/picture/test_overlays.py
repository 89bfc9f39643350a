"""What is laid over the plan: routes, conflicts, states and stories."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from pathlib import Path

from picture.read_back import SVG, meet, read_picture
from picture.test_picture import assert_legible, assert_named, assert_whole, ways_in_order
from random_layouts import shown, valid_layouts
from sound_layouts import checked, compiled, compiled_file

from bellcrank.picture import (
    conflict_overlay,
    draw,
    route_overlay,
    state_overlay,
    story_overlay,
)

EXAMPLES = Path(__file__).parent.parent.parent / "examples"

JUNCTION = """\
layout "Marsh Halt"
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - B - stop
run P1.diverging - <S2 - C - stop
"""

MEETING = JUNCTION + "locking written { every route needs its positions }\n"


def marked(svg: str, word: str) -> set[tuple[str, str, str]]:
    """The ways that bear a class, as element and legs."""
    return {
        (group.get("data-element", ""), path.get("data-from", ""), path.get("data-to", ""))
        for group in ET.fromstring(svg).iter(SVG + "g")
        for path in group
        if "way" in (path.get("class") or "").split() and word in (path.get("class") or "").split()
    }


def test_a_route_shows_its_way_its_positions_and_its_signal_off() -> None:
    c = compiled(JUNCTION)
    svg = draw(c.layout, route_overlay(c.layout, c.table.routes["H to C"]))
    assert marked(svg, "set") == {("P1", "toe", "diverging"), ("C", "left", "right")}
    assert '<g class="signal off" data-signal="H"' in svg
    notes = [t.text for t in ET.fromstring(svg).iter(SVG + "text") if "note" in t.get("class", "")]
    assert notes == ["diverging"]
    assert "It needs P1 diverging." in svg


def test_two_routes_are_ringed_where_they_meet_and_drawn_apart_without_colour() -> None:
    c = compiled_file(EXAMPLES / "harbour-terminus.crank")
    one, other = c.table.routes["W1 to T1"], c.table.routes["G1 to T2"]
    svg = draw(c.layout, conflict_overlay(c.layout, c.table, one, other))
    assert {(e, frozenset((a, b))) for e, a, b in marked(svg, "set")} == {
        (w.element, frozenset((w.entry, w.exit))) for w in one.ways
    }
    assert {e for e, _, _ in marked(svg, "second")} == set(other.elements)
    rings = {c.get("data-at") for c in ET.fromstring(svg).iter(SVG + "circle")
             if c.get("class") == "ring"}  # fmt: skip
    assert rings == {"S1"}
    assert re.search(r"\.way\.second \{[^}]*stroke-dasharray", svg)
    assert "They conflict: they cross in S1" in svg


def test_routes_that_may_run_together_are_not_ringed() -> None:
    c = compiled_file(EXAMPLES / "harbour-terminus.crank")
    routes = c.table.routes
    svg = draw(c.layout, conflict_overlay(c.layout, c.table, routes["W1 to G1"],
                                          routes["D1 to YARD"]))  # fmt: skip
    assert 'class="ring"' not in svg
    assert "may run together" in svg


def test_a_state_at_rest_shows_no_train_and_where_drives_lie() -> None:
    c = compiled(JUNCTION)
    overlay = state_overlay(c.layout, c.machine, c.table, c.machine.start())
    svg = draw(c.layout, overlay)
    assert marked(svg, "lies") == {("P1", "toe", "straight")}
    assert "occupied" not in svg.split("</style>")[1]


def test_a_story_has_every_step_by_its_number_and_rings_where_trains_meet() -> None:
    c = checked(MEETING)
    story = next(r.story for r in c.moving.results if r.name == "meetings")
    assert story is not None
    steps = [step.event for step in story.steps]
    svg = draw(
        c.layout,
        story_overlay(c.layout, c.machine, c.table, steps, story.ending, dict(story.start)),
    )
    root = ET.fromstring(svg)
    numbers = [
        n
        for t in root.iter(SVG + "text")
        if t.get("class") == "note step"
        for n in (t.text or "").split(",")
    ]
    assert sorted(map(int, numbers)) == list(range(1, len(steps) + 1))
    told = " ".join(t.text or "" for t in root.iter(SVG + "text") if t.get("class") == "legend")
    for step in story.steps:
        assert step.sentence in told
    assert 'class="ring"' in svg
    assert "occupied" in svg.split("</style>")[1]


def test_pictures_with_overlays_stay_whole_and_legible() -> None:
    for made, c in valid_layouts(range(400, 415)):
        with shown(made):
            routes = list(c.table.routes.values())
            overlays = [route_overlay(c.layout, routes[0])]
            overlays += [
                conflict_overlay(c.layout, c.table, c.table.routes[a], c.table.routes[b])
                for a, b in list(c.table.conflicts)[:1]
            ]
            for overlay in overlays:
                svg = draw(c.layout, overlay)
                drawn = read_picture(svg)
                ways_in_order(drawn, c.layout)
                assert_whole(drawn, c.layout)
                assert_named(drawn, c.layout)
                assert_legible(drawn)
                notes = [
                    t for t in ET.fromstring(svg).iter(SVG + "text")
                    if "note" in (t.get("class") or "").split()
                ]  # fmt: skip
                assert len(notes) == len(overlay.notes)
                for t in notes:
                    x, y = float(t.get("x", "")), float(t.get("y", ""))
                    half = len(t.text or "") * 0.602 * 11 / 2
                    rect = (x - half, y - 8.3, x + half, y + 2.4)
                    assert not any(meet(rect, r) for _, _, r in drawn.names)


def lit(svg: str) -> dict[str, list[tuple[str, bool]]]:
    """For each signal its heads, the foremost first: the aspects that light it, and
    whether it is lit."""
    return {
        group.get("data-signal", ""): [
            (lamp.get("data-lights", ""), "lit" in (lamp.get("class") or "").split())
            for lamp in group.iter(SVG + "circle")
        ]
        for group in ET.fromstring(svg).iter(SVG + "g")
        if group.get("data-signal")
    }


def test_a_signal_lights_the_head_of_the_aspect_that_it_shows() -> None:
    c = compiled(
        JUNCTION + "signal H shows stop, caution, clear\nroute SLOW = H to C shows caution\n"
    )
    assert lit(draw(c.layout)) == {
        "H": [("clear", False), ("caution", False)],
        "S1": [("proceed", False)],
        "S2": [("proceed", False)],
    }
    fast = draw(c.layout, route_overlay(c.layout, c.table.routes["H to B"]))
    assert lit(fast)["H"] == [("clear", True), ("caution", False)]
    slow = draw(c.layout, route_overlay(c.layout, c.table.routes["SLOW"]))
    assert lit(slow)["H"] == [("clear", False), ("caution", True)]
    assert lit(slow)["S1"] == [("proceed", False)]


def test_three_heads_tell_eight_aspects_apart() -> None:
    names = [f"a{k}" for k in range(1, 8)]
    c = compiled(JUNCTION + f"signal H shows stop, {', '.join(names)}\n")
    heads = [set(lights.split()) for lights, _ in lit(draw(c.layout))["H"]]
    assert len(heads) == 3
    patterns = {tuple(name in head for head in heads) for name in names}
    assert len(patterns) == 7 and (False, False, False) not in patterns


def test_a_state_lights_the_head_of_the_route_that_the_signal_is_off_for() -> None:
    c = compiled(
        JUNCTION + "signal H shows stop, caution, clear\nroute SLOW = H to C shows caution\n"
    )
    state = c.machine.start() | {"signal H": "SLOW"}
    svg = draw(c.layout, state_overlay(c.layout, c.machine, c.table, state))
    assert lit(svg)["H"] == [("clear", False), ("caution", True)]
