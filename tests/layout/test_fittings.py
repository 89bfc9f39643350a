"""Fittings: the standard ones and those that a layout defines, by their ways."""

from __future__ import annotations

import pytest
from laid import laid

from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.fittings import standard_fittings
from bellcrank.layout.layout_model import Leg
from bellcrank.syntax.load import load_text

# The ways of the standard fittings by hand, from what each is (design of the
# fittings: common practice). Positions as "drive position" or the position alone.
STANDARD = {
    "points": {
        ("toe", "straight"): {"straight"},
        ("toe", "diverging"): {"diverging"},
    },
    "three way points": {
        ("toe", "left"): {"to_left diverging", "to_right straight"},
        ("toe", "straight"): {"to_left straight", "to_right straight"},
        ("toe", "right"): {"to_left straight", "to_right diverging"},
    },
    "double slip with one drive": {
        ("a1", "a2"): {"straight"},
        ("b1", "b2"): {"straight"},
        ("a1", "b2"): {"diverging"},
        ("a2", "b1"): {"diverging"},
    },
    "double slip with two drives": {
        ("a1", "a2"): {"end1 a2", "end2 a1"},
        ("b1", "b2"): {"end1 b2", "end2 b1"},
        ("a1", "b2"): {"end1 b2", "end2 a1"},
        ("a2", "b1"): {"end1 a2", "end2 b1"},
    },
    "single slip with one drive": {
        ("a1", "a2"): {"straight"},
        ("b1", "b2"): {"straight"},
        ("a1", "b2"): {"diverging"},
    },
    "single slip with two drives": {
        ("a1", "a2"): {"end1 a2", "end2 a1"},
        ("b1", "b2"): {"end1 b2", "end2 b1"},
        ("a1", "b2"): {"end1 b2", "end2 a1"},
    },
    "fixed diamond": {
        ("a1", "a2"): set(),
        ("b1", "b2"): set(),
    },
}


def test_there_are_the_standard_fittings_and_no_others():
    assert set(standard_fittings()) == set(STANDARD)


@pytest.mark.parametrize("name", list(STANDARD))
def test_a_standard_fitting_has_its_ways(name: str):
    kind = standard_fittings()[name]
    ways = {
        tuple(sorted(way.legs)): {f"{drive} {position}".strip() for drive, position in way.when}
        for way in kind.ways
    }
    assert ways == {tuple(sorted(legs)): when for legs, when in STANDARD[name].items()}
    assert len(kind.ways) == len(ways)


def test_there_is_no_way_between_the_two_branches_of_points():
    kind = standard_fittings()["points"]
    assert all("toe" in way.legs for way in kind.ways)


@pytest.mark.parametrize(
    ("name", "roads"),
    [
        ("double slip with one drive", {"straight": 2, "diverging": 2}),
        ("single slip with one drive", {"straight": 2, "diverging": 1}),
    ],
)
def test_a_slip_with_one_drive_lines_up_two_roads_at_once(name: str, roads: dict[str, int]):
    kind = standard_fittings()[name]
    for position, count in roads.items():
        assert sum(("", position) in way.when for way in kind.ways) == count


def test_a_double_slip_with_two_drives_lines_up_one_road_in_each_of_four_combinations():
    kind = standard_fittings()["double slip with two drives"]
    for end1 in kind.drives["end1"]:
        for end2 in kind.drives["end2"]:
            lies = {"end1": end1, "end2": end2}
            open_ways = [w for w in kind.ways if all(lies[d] == p for d, p in w.when)]
            assert len(open_ways) == 1


def test_the_first_position_of_a_lone_drive_is_straight():
    """The green side of an output gives it (common practice)."""
    for kind in standard_fittings().values():
        if "" in kind.drives:
            assert kind.drives[""] == ("straight", "diverging")


def test_the_two_straight_roads_of_slips_and_diamonds_alternate_round_them():
    for name, kind in standard_fittings().items():
        if "slip" in name or "diamond" in name:
            at = {leg: index for index, leg in enumerate(kind.legs)}
            assert (at["a2"] - at["a1"]) % 4 == 2
            assert (at["b2"] - at["b1"]) % 4 == 2


def test_a_train_takes_a_way_from_either_end():
    layout = laid(
        "points P1\nrun edge WEST - A - >H - P1.toe\n"
        "run P1.straight - B - stop\nrun P1.diverging - C - stop\n"
    )
    facing = layout.ways_from(Leg("P1", "toe"))
    assert [(w.exit, w.when) for w in facing] == [
        ("straight", (("P1", "straight"),)),
        ("diverging", (("P1", "diverging"),)),
    ]
    trailing = layout.ways_from(Leg("P1", "diverging"))
    assert [(w.exit, w.when) for w in trailing] == [("toe", (("P1", "diverging"),))]


SCISSORS = """\
fitting scissors crossover with one drive {
  legs a1, a2, b2, b1
  drive straight, across
  way a1 - a2 when straight
  way b1 - b2 when straight
  way a1 - b2 when across
  way b1 - a2 when across
}
scissors crossover SX with one drive
run edge DOWN - A - >HA - SX.a1
run edge UP - B - >HB - SX.b1
run SX.a2 - T1 - stop
run SX.b2 - T2 - stop
"""


def test_a_scissors_crossover_with_one_drive_is_a_fitting_of_ones_own():
    layout = laid(SCISSORS)
    assert layout.elements["SX"].kind.name == "scissors crossover with one drive"
    assert layout.drives["SX"].positions == ("straight", "across")
    assert {(w.exit, w.when) for leg in ("a1", "b1") for w in layout.ways_from(Leg("SX", leg))} == {
        ("a2", (("SX", "straight"),)),
        ("b2", (("SX", "straight"),)),
        ("b2", (("SX", "across"),)),
        ("a2", (("SX", "across"),)),
    }


POSITIONS = ("one", "two", "three", "four", "five", "six")

TURNTABLE = (
    "fitting turntable with six positions {\n"
    + "  legs lead, "
    + ", ".join(f"r{n}" for n in POSITIONS)
    + "\n  drive "
    + ", ".join(POSITIONS)
    + "\n"
    + "".join(f"  way lead - r{n} when {n}\n" for n in POSITIONS)
    + "}\nturntable TT with six positions\nrun edge WORKS - A - >H - TT.lead\n"
    + "".join(f"run TT.r{n} - R{n} - stop\n" for n in POSITIONS)
)


def test_a_turntable_with_six_positions_has_a_road_for_each():
    layout = laid(TURNTABLE)
    assert layout.drives["TT"].positions == POSITIONS
    ways = layout.ways_from(Leg("TT", "lead"))
    assert [(w.exit, w.when) for w in ways] == [(f"r{n}", (("TT", n),)) for n in POSITIONS]


def test_a_way_may_leave_a_drive_free_and_may_need_none():
    layout = laid(
        "fitting derailer {\n  legs in, out, in2, out2\n  drive off, on\n"
        "  way in - out when off\n  way in2 - out2\n}\n"
        "derailer D\nrun edge WEST - A - >H - D.in\nrun D.out - B - stop\n"
        "run edge EAST - X - >J - D.in2\nrun D.out2 - C - stop\n"
    )
    assert [w.when for w in layout.ways_from(Leg("D", "in"))] == [(("D", "off"),)]
    assert [w.when for w in layout.ways_from(Leg("D", "in2"))] == [()]


def test_the_drives_must_settle_which_way_a_train_takes():
    _, found = build_layout(
        load_text(
            "fitting trap {\n  legs toe, main, sand\n  drive closed, open\n"
            "  way toe - main when closed\n  way toe - sand\n}\n",
            "x",
        )[0]
    )
    assert [d.code for d in found] == ["E305"]


def test_a_fitting_may_be_used_before_the_line_that_defines_it():
    definition = SCISSORS[: SCISSORS.index("}\n") + 2]
    layout = laid(SCISSORS.removeprefix(definition) + definition)
    assert layout.elements["SX"].kind.legs == ("a1", "a2", "b2", "b1")


DRAWN = """\
fitting table {
  legs lead, one, two
  drive first, second
  way lead - one when first
  way lead - two when second
  drawn as turntable
}
table TT
run edge WEST - A - >H - TT.lead
run TT.one - <S1 - R1 - stop
run TT.two - <S2 - R2 - stop
"""


def test_how_a_fitting_is_drawn_is_said_with_its_kind():
    assert laid(DRAWN).elements["TT"].kind.drawn == "turntable"
    assert laid(DRAWN.replace("  drawn as turntable\n", "")).elements["TT"].kind.drawn is None


def test_a_fitting_is_not_drawn_in_two_ways():
    program, _ = load_text(DRAWN.replace("}\n", "  drawn as traverser\n}\n", 1), "layout.crank")
    (found,) = build_layout(program)[1]
    assert (found.code, found.span.line) == ("E304", 7)
    assert found.related[0][0].line == 6


def test_a_word_that_is_no_look_is_told_with_those_that_are():
    _, found = load_text(DRAWN.replace("as turntable", "as turnttable"), "layout.crank")
    assert "turntable" in f"{found[0].expected} {found[0].hint}"
