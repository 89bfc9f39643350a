"""Track as trains occupy it: parts, the passages over them, and the steps of a route."""

from __future__ import annotations

import pytest
from random_layouts import random_layout
from sound_layouts import compiled

from bellcrank.diagnostics import has_errors
from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.layout_model import Leg, Way
from bellcrank.machine.parts import Parts, PassagesAsked, approach_from, coming_from, find_parts
from bellcrank.syntax.load import load_text


def parts_of(text: str) -> Parts:
    # Some of these layouts have no routes: only the track is looked at.
    program, found = load_text(text, "layout.crank")
    layout, more = build_layout(program)
    assert not has_errors(found + more), more
    return find_parts(layout)


def passages(parts: Parts, part: str) -> dict[str, dict[str, str]]:
    """The passages over a part, with where drives must lie for each."""
    return {p.name: dict(p.positions) for p in parts.parts[part].passages}


BRANCH = """
points P
run edge W - A - >H - P.toe
run P.straight - N - <S - T - stop
run P.diverging - U - stop
"""


def test_each_piece_and_each_fitting_is_a_part_as_is_usual() -> None:
    parts = parts_of(BRANCH)
    assert set(parts.parts) == {"A", "P", "N", "T", "U"}
    assert parts.part_of == {name: name for name in parts.parts}
    assert parts.in_section == {name: (name,) for name in parts.parts}


def test_a_train_passes_a_piece_in_two_directions() -> None:
    assert passages(parts_of(BRANCH), "N") == {
        "N.left to N.right": {},
        "N.right to N.left": {},
    }


def test_a_train_passes_points_the_way_they_lie() -> None:
    assert passages(parts_of(BRANCH), "P") == {
        "P.toe to P.straight": {"P": "straight"},
        "P.toe to P.diverging": {"P": "diverging"},
        "P.straight to P.toe": {"P": "straight"},
        "P.diverging to P.toe": {"P": "diverging"},
    }


def test_three_way_points_need_both_drives_for_each_way() -> None:
    parts = parts_of(
        """
        three way points P
        run edge W - >H - P.toe
        run P.left - T1 - stop
        run P.straight - T2 - stop
        run P.right - T3 - stop
        """
    )
    assert {n: p for n, p in passages(parts, "P").items() if n.startswith("P.toe")} == {
        "P.toe to P.left": {"P.to_left": "diverging", "P.to_right": "straight"},
        "P.toe to P.straight": {"P.to_left": "straight", "P.to_right": "straight"},
        "P.toe to P.right": {"P.to_left": "straight", "P.to_right": "diverging"},
    }


def test_track_of_one_section_that_hangs_together_is_one_part() -> None:
    parts = parts_of(BRANCH + "section THROAT = P, N\n")
    assert set(parts.parts) == {"A", "THROAT", "T", "U"}
    assert parts.part_of["P"] == parts.part_of["N"] == "THROAT"
    assert passages(parts, "THROAT") == {
        "P.toe to N.right": {"P": "straight"},
        "P.toe to P.diverging": {"P": "diverging"},
        "P.diverging to P.toe": {"P": "diverging"},
        "N.right to P.toe": {"P": "straight"},
    }


@pytest.mark.parametrize("members", ["N, T", "T, U"])
def test_a_signal_and_other_track_each_divide_a_section_into_parts(members: str) -> None:
    # Between N and T stands a signal; between T and U lies track of others.
    one, other = members.split(", ")
    parts = parts_of(BRANCH + f"section BOTH = {members}\n")
    assert parts.in_section["BOTH"] == (f"BOTH at {one}", f"BOTH at {other}")
    assert parts.part_of[one] == f"BOTH at {one}"


def test_two_fittings_that_one_drive_throws_are_passed_only_as_it_lets_one() -> None:
    parts = parts_of(
        """
        points PA, PB
        coupled PA, PB
        run edge A1 - >HA - PA.toe
        run PA.straight - edge A2
        run edge B1 - >HB - PB.straight
        run PB.toe - edge B2
        run PA.diverging - PB.diverging
        section CROSSING = PA, PB
        """
    )
    assert passages(parts, "CROSSING") == {
        "PA.toe to PA.straight": {"PA": "straight"},
        "PA.toe to PB.toe": {"PA": "diverging"},
        "PA.straight to PA.toe": {"PA": "straight"},
        "PB.toe to PB.straight": {"PA": "straight"},
        "PB.toe to PA.toe": {"PA": "diverging"},
        "PB.straight to PB.toe": {"PA": "straight"},
    }


def test_a_way_that_needs_one_drive_in_two_positions_is_no_passage() -> None:
    # Straight over one and diverging over the other: coupled drives do not lie so.
    parts = parts_of(
        """
        points PA, PB
        coupled PA, PB
        run edge W - >H - PA.toe
        run PA.straight - PB.diverging
        run PA.diverging - T1 - stop
        run PB.toe - T2 - stop
        run PB.straight - T3 - stop
        section BOTH = PA, PB
        """
    )
    assert "PA.toe to PB.toe" not in passages(parts, "BOTH")
    assert "PA.toe to PA.diverging" in passages(parts, "BOTH")


LOOP = """
points P
run edge HILL - C - >H - P.toe
run P.straight - LA - >L1 - <L2 - LB - P.diverging
reverser LA, LB
"""


def test_a_loop_in_one_section_is_divided_where_signals_stand() -> None:
    parts = parts_of(LOOP + "section LOOP = P, LA, LB\n")
    (one, other) = parts.in_section["LOOP"]
    assert {len(parts.parts[one].elements), len(parts.parts[other].elements)} == {1, 2}
    assert parts.part_of["LA"] != parts.part_of["LB"]


def test_a_way_that_comes_back_to_its_own_part_ends_there() -> None:
    text = """
    points P
    run edge HILL - C - >H - P.toe
    run P.straight - LA - LB - P.diverging
    reverser LA, LB
    """
    parts = parts_of(text + "section LOOP = P, LA, LB\n")
    ways = {p.name: [w.element for w in p.ways] for p in parts.parts["LOOP"].passages}
    assert ways == {
        "P.toe to LB.right": ["P", "LA", "LB"],
        "P.toe to LA.left": ["P", "LB", "LA"],
    }


def test_where_a_signal_lets_trains_out_of_such_a_loop_they_stand_on_it_as_they_leave() -> None:
    text = """
    points P
    run edge HILL - C - <S - LX - P.toe
    run P.straight - LA - LB - P.diverging
    reverser LA, LB
    section LOOP = LX, P, LA, LB
    """
    ways = {p.name: dict(p.positions) for p in parts_of(text).parts["LOOP"].passages}
    assert ways == {
        "LX.left to LB.right": {"P": "straight"},
        "LB.right to LX.left": {"P": "straight"},
        "LX.left to LA.left": {"P": "diverging"},
        "LA.left to LX.left": {"P": "diverging"},
    }


# --------------------------------------------------------------------------- steps


def test_a_route_leads_over_its_parts_step_by_step() -> None:
    compilation = compiled(BRANCH + "section THROAT = P, N\n")
    parts = find_parts(compilation.layout)
    steps = parts.steps(compilation.table.routes["S to W"])
    assert [(s.part, s.section, str(s.entry), str(s.exit)) for s in steps] == [
        ("THROAT", 1, "N.right", "P.toe"),
        ("A", 2, "A.right", "A.left"),
    ]
    assert [s.passage.name for s in steps if s.passage] == ["N.right to P.toe", "A.right to A.left"]


# ---------------------------------------------------------------- in from an edge

LONG_WAY_IN = "run edge W - A - B - >D - L - <U - C - edge E\n"


def test_a_train_comes_in_over_all_track_up_to_the_first_signal() -> None:
    layout = compiled(LONG_WAY_IN).layout
    assert layout is not None
    asked = PassagesAsked(layout)
    way = approach_from("W", asked)
    assert way is not None
    assert [p.name for p in way] == ["A.left to A.right", "B.left to B.right"]
    assert coming_from(asked) == {"A": (), "B": ("A",), "L": (), "C": ()}


def test_a_signal_at_the_edge_leaves_no_track_before_it() -> None:
    layout = compiled("run edge W - >D - L - edge E\n").layout
    assert layout is not None
    asked = PassagesAsked(layout)
    assert approach_from("W", asked) == ()
    # By E a train leaves; none could come in and be stopped.
    assert approach_from("E", asked) is None


def test_no_train_comes_in_where_points_come_before_the_first_signal() -> None:
    layout = compiled(BRANCH.replace("U - stop", "U - edge X")).layout
    assert layout is not None
    assert approach_from("X", PassagesAsked(layout)) is None


# ------------------------------------------------------------------ random layouts


def test_parts_of_random_layouts_hang_together_and_are_passed_both_ways() -> None:
    layouts = 0
    for seed in range(50):
        text = random_layout(seed).text
        program, found = load_text(text, "layout.crank")
        layout, more = build_layout(program)
        if has_errors(found + more):
            continue
        layouts += 1
        parts = find_parts(layout)
        placed = [e for part in parts.parts.values() for e in part.elements]
        assert sorted(placed) == sorted(layout.elements)
        for part in parts.parts.values():
            assert {layout.section_of[e] for e in part.elements} == {part.section}
            inside = {(p.entry, p.exit, p.ways) for p in part.passages}
            for passage in part.passages:
                assert len(dict(passage.positions)) == len(passage.positions)
                for way, following in zip(passage.ways, passage.ways[1:], strict=False):
                    beyond = layout.joined[Leg(way.element, way.exit)]
                    assert beyond == Leg(following.element, following.entry)
                end = layout.joined[passage.exit]
                if isinstance(end, Leg) and end.element in part.elements:
                    # It comes back to where it has been, or to a signal.
                    continue
                assert (passage.exit, passage.entry, backwards(passage.ways)) in inside, text
    assert layouts > 30


def backwards(ways: tuple[Way, ...]) -> tuple[Way, ...]:
    return tuple(Way(w.element, w.exit, w.entry, w.when) for w in reversed(ways))
