"""Reversing loops on two-rail track: found by parity, with the joints for gaps."""

from __future__ import annotations

import random
import re
from collections.abc import Iterable

import networkx as nx
import pytest
from laid import laid, laid_with_warnings

from bellcrank.diagnostics import Diagnostic
from bellcrank.layout.build_layout import build_layout
from bellcrank.syntax.load import load_text

BALLOON = """\
points P1
run edge HILL - A - >H - P1.toe
run P1.straight - LA - >L1 - <L2 - LB - P1.diverging
"""

TRIANGLE = """\
points PA, PB, PC
run PA.straight - AB - PB.diverging
run PB.straight - BC - PC.diverging
run PC.straight - CA - PA.diverging
run edge NORTH - N - >HA - PA.toe
run edge EAST - E - >HB - PB.toe
run edge SOUTH - S - >HC - PC.toe
"""


def loops(text: str) -> list[Diagnostic]:
    """The reversing loops that a layout is warned of."""
    _, said = laid_with_warnings(text)
    assert {d.code for d in said} <= {"W801"}, said
    return list(said)


# ------------------------------------------------------------------ where one is


def test_a_balloon_loop_joins_left_rail_to_right_and_the_joints_for_gaps_are_named():
    (found,) = loops(BALLOON)
    assert found.message == (
        "a train comes back turned round, which joins left rail to right, a short circuit: "
        "P1 - LA - LB"
    )
    assert found.hint == (
        "gap both rails at both ends of LA - LB (gaps at LA/P1.straight and LB/P1.diverging), "
        "feed that stretch through a reverser, and write `reverser LA, LB`"
    )
    assert (found.span.line, found.span.column) == (3, 19)


def test_a_balloon_loop_of_one_piece_may_be_gapped_at_its_two_ends():
    (found,) = loops(
        "points P1\nrun edge HILL - A - >H - P1.toe\nrun P1.straight - LOOP - P1.diverging\n"
    )
    assert "gaps at LOOP/P1.straight and LOOP/P1.diverging" in (found.hint or "")


def test_a_triangle_turns_trains_and_any_of_its_three_sides_may_be_gapped():
    (found,) = loops(TRIANGLE)
    gaps = re.findall(r"gaps at (\S+) and (\S+)\)", found.hint or "")
    assert {frozenset(pair) for pair in gaps} == {
        frozenset(("AB/PA.straight", "AB/PB.diverging")),
        frozenset(("BC/PB.straight", "BC/PC.diverging")),
        frozenset(("CA/PC.straight", "CA/PA.diverging")),
    }


def test_an_oval_with_a_track_across_it_turns_trains():
    """The cut-off leaves the oval and comes back to it the other way."""
    found = loops(
        "points P1, P2\n"
        "run P1.straight - A - >H - B - P2.straight\n"
        "run P1.toe - C - P2.toe\n"
        "run P1.diverging - ACROSS - P2.diverging\n"
    )
    assert found == []
    turning = (
        "points P1, P2\n"
        "run P1.straight - A - >H - B - P2.toe\n"
        "run P1.toe - C - P2.straight\n"
        "run P1.diverging - ACROSS - P2.diverging\n"
    )
    assert {"ACROSS" in d.message for d in loops(turning)} == {True}
    laid(turning + "reverser ACROSS")


def test_a_loop_at_each_end_of_a_line_is_found_at_each_end():
    found = loops(
        "points P1, P2\n"
        "run P1.toe - A - >H1 - <H2 - B - P2.toe\n"
        "run P1.straight - L1 - P1.diverging\n"
        "run P2.straight - L2 - P2.diverging\n"
    )
    assert [d.message.split(": ")[1] for d in found] == ["P1 - L1", "P2 - L2"]


def test_a_loop_without_plain_track_is_told_to_get_some():
    found = loops(
        "points P1, P2, P3\n"
        "run edge HILL - A - >H - P1.toe\n"
        "run P1.straight - P2.toe\n"
        "run P1.diverging - P3.straight\n"
        "run P2.straight - P3.toe\n"
        "run P2.diverging - B - <J - C - stop\n"
        "run P3.diverging - D - stop\n"
    )
    assert len(found) == 1
    assert found[0].hint == (
        "lay plain track into the loop: it has no stretch that could be fed by itself"
    )


def test_the_loop_of_a_slip_road_is_found():
    """Out by one leg of a double slip's end and back by the other."""
    assert len(
        loops(
            "double slip S1 with one drive\n"
            "run edge WEST - A - >H - S1.a1\nrun edge EAST - B - >J - S1.b1\n"
            "run S1.a2 - LOOP - S1.b2\n"
        )
    ) == 1  # fmt: skip


# --------------------------------------------------------------- where none is


@pytest.mark.parametrize(
    "text",
    [
        "run edge WEST - A - >H - B - stop\n",
        "run A - >H - B\nrun B - A\n",
        "run A - >H - B - C\nrun C - A\n",
        "points P1\nrun edge WEST - A - >H - P1.toe\n"
        "run P1.straight - B - stop\nrun P1.diverging - C - stop\n",
        # a passing place, where trains come out as they went in
        "points P1, P2\nrun edge WEST - A - >H - P1.toe\nrun P1.straight - M - P2.straight\n"
        "run P1.diverging - N - P2.diverging\nrun P2.toe - B - edge EAST\n",
        # an oval with a passing place
        "points P1, P2\nrun P1.straight - M - >H - P2.straight\n"
        "run P1.diverging - N - P2.diverging\nrun P2.toe - B - P1.toe\n",
        # two ovals, one in the other, with a crossover
        "points P1, P2\nrun P1.toe - A - >H - <G - P1.straight\nrun P2.toe - B - P2.straight\n"
        "run P1.diverging - P2.diverging\n",
    ],
    ids=[
        "a line",
        "an oval of two",
        "an oval of three",
        "a terminus",
        "a passing place",
        "an oval with a passing place",
        "two ovals with a crossover",
    ],
)
def test_track_on_which_no_train_is_turned_has_no_reversing_loop(text: str):
    laid(text)


@pytest.mark.parametrize("text", [BALLOON, TRIANGLE])
def test_three_rail_track_has_no_reversing_loop(text: str):
    laid('layout "Centre conductor" on three rails\n' + text)


@pytest.mark.parametrize(
    "text",
    [
        BALLOON + "reverser LA, LB",
        BALLOON + "reverser LB, LA",
        BALLOON + "reverser LA",
        BALLOON + "reverser LB",
        TRIANGLE + "reverser BC",
    ],
)
def test_a_reverser_in_the_loop_silences_the_warning(text: str):
    layout = laid(text)
    assert layout.reversers


def test_a_reverser_on_one_loop_leaves_the_other_reported():
    text = (
        "points P1, P2\nrun P1.toe - A - >H1 - <H2 - B - P2.toe\n"
        "run P1.straight - L1 - P1.diverging\nrun P2.straight - L2 - P2.diverging\n"
    )
    (found,) = loops(text + "reverser L1")
    assert "L2" in found.message


def test_a_reverser_beside_the_loop_is_no_help():
    _, said = laid_with_warnings(BALLOON + "reverser A")
    assert sorted(d.code for d in said) == ["W801", "W809"]


def test_the_two_roads_of_a_diamond_are_electrically_separate():
    """The line crosses itself; were the roads one, its loop would turn trains."""
    crossing = (
        "run edge WEST - A - >H - {0}.a1\nrun {0}.a2 - LOOP - {0}.b2\nrun {0}.b1 - B - edge EAST\n"
    )
    laid("fixed diamond X\n" + crossing.format("X"))
    assert len(loops("double slip X with one drive\n" + crossing.format("X"))) == 1


def test_a_figure_of_eight_over_a_diamond_turns_no_train():
    laid("fixed diamond X\nrun X.a2 - A - >H - B - X.b1\nrun X.b2 - C - X.a1\n")


# ------------------------------------------- against a second way of finding it

# The ways through each kind of fitting, written again by hand.
WAYS = {
    "points": [("toe", "straight"), ("toe", "diverging")],
    "three way points": [("toe", "left"), ("toe", "straight"), ("toe", "right")],
    "double slip with one drive": [("a1", "a2"), ("b1", "b2"), ("a1", "b2"), ("b1", "a2")],
    "single slip with two drives": [("a1", "a2"), ("b1", "b2"), ("a1", "b2")],
    "fixed diamond": [("a1", "a2"), ("b1", "b2")],
}


def random_track(seed: int) -> tuple[str, nx.Graph]:
    """Track joined at random, loops and all: its text, and the graph of its legs.

    Each way and each joint of the graph leads from leaving by one leg to
    entering by another, which swaps the sides on which a train finds its two
    rails as seen from outwards; so track without a short circuit is bipartite.
    """
    rng = random.Random(seed)
    graph: nx.Graph = nx.Graph()
    lines = []
    legs = []
    for number in range(rng.randint(1, 5)):
        kind = rng.choice(list(WAYS))
        head, _, tail = kind.partition(" with ")
        lines.append(f"{head} F{number}" + (f" with {tail}" if tail else ""))
        for one, other in WAYS[kind]:
            graph.add_edge((f"F{number}", one), (f"F{number}", other))
        legs += sorted({(f"F{number}", leg) for way in WAYS[kind] for leg in way})
    rng.shuffle(legs)
    pieces = 0

    def lay(count: int) -> list[str]:
        nonlocal pieces
        names = [f"T{pieces + k}" for k in range(count)]
        pieces += count
        for name in names:
            graph.add_edge((name, "left"), (name, "right"))
        return names

    while legs:
        first = legs.pop()
        if not legs or rng.random() < 0.25:
            (name,) = lay(1)
            end = rng.choice(["stop", f"edge E{pieces}"])
            lines.append(f"run {'.'.join(first)} - {name} - {end}")
            graph.add_edge(first, (name, "left"))
            continue
        second = legs.pop()
        least = 1 if first[0] == second[0] else 0
        names = lay(rng.randint(least, 2))
        lines.append("run " + " - ".join([".".join(first), *names, ".".join(second)]))
        joints = [first, *((n, side) for n in names for side in ("left", "right")), second]
        graph.add_edges_from(zip(joints[::2], joints[1::2], strict=True))
    if pieces == 0 or rng.random() < 0.3:
        one, other = lay(2)
        lines.append(f"run {one} - {other}\nrun {other} - {one}")
        graph.add_edge((one, "right"), (other, "left"))
        graph.add_edge((other, "right"), (one, "left"))
    return "\n".join(lines) + "\n", graph


def warned_of(text: str) -> list[Diagnostic]:
    """The reversing loops reported, whatever else is wrong with random track."""
    program, unread = load_text(text, "layout.crank")
    assert unread == ()
    _, said = build_layout(program)
    assert {d.code for d in said} <= {"W801", "W808", "E314", "E315"}, said
    return [d for d in said if d.code == "W801"]


SEEDS = range(120)


def test_random_track_is_reported_exactly_if_its_leg_graph_is_not_bipartite():
    turning = 0
    for seed in SEEDS:
        text, graph = random_track(seed)
        assert bool(warned_of(text)) == (not nx.is_bipartite(graph)), text
        turning += not nx.is_bipartite(graph)
    # Otherwise the test would say nothing about one of the two.
    assert 20 < turning < 100


def joints_of(hint: str) -> Iterable[tuple[tuple[str, str], tuple[str, str]]]:
    """The two joints of the first stretch that a hint says may be gapped, as elements' ends."""
    match = re.search(r"gaps at (\S+) and (\S+?)\)", hint)
    assert match is not None
    for joint in match.groups():
        (one, _, leg), (other, _, other_leg) = (end.partition(".") for end in joint.split("/"))
        yield (one, leg), (other, other_leg)


def test_random_track_with_gaps_where_the_messages_say_is_bipartite():
    mended = 0
    for seed in SEEDS:
        text, graph = random_track(seed)
        found = warned_of(text)
        if not found or any("gaps at" not in (d.hint or "") for d in found):
            continue
        for d in found:
            for one, other in joints_of(d.hint or ""):
                ends = [
                    (u, v)
                    for u, v in graph.edges
                    if u[0] != v[0]
                    and {u[0], v[0]} == {one[0], other[0]}
                    and all(name in (u, v) for name in (one, other) if name[1])
                ]
                graph.remove_edges_from(ends)
        assert nx.is_bipartite(graph), text
        mended += 1
    assert mended > 15


def test_random_track_with_the_reversers_that_the_messages_ask_for_is_silent():
    mended = 0
    for seed in SEEDS:
        text, _ = random_track(seed)
        found = warned_of(text)
        asked = [re.search(r"`reverser (.+?)`", d.hint or "") for d in found]
        if not found or None in asked:
            continue
        for match in asked:
            assert match is not None
            text += f"reverser {match.group(1)}\n"
        assert warned_of(text) == [], text
        mended += 1
    assert mended > 15


def test_ways_that_go_round_inside_one_fitting_turn_no_train():
    laid(
        "fitting turntable {\n  legs n, e, s\n  drive ne, es, sn\n"
        "  way n - e when ne\n  way e - s when es\n  way s - n when sn\n}\n"
        "turntable T\nrun edge N - A - >H - T.n\nrun T.e - B - stop\nrun T.s - C - stop\n"
    )


PARALLEL = """\
points P, A, B
run edge W - X - >H - P.toe
run P.straight - L1 - L2 - A.toe
run A.straight - M - B.straight
run A.diverging - N - B.diverging
run B.toe - R - P.diverging
"""


def test_only_stretches_that_are_enough_alone_are_offered():
    _, said = laid_with_warnings(PARALLEL)
    (loop,) = [d for d in said if d.code == "W801"]
    assert loop.hint is not None
    assert "reverser M" not in loop.hint and "reverser N" not in loop.hint
    _, said = laid_with_warnings(PARALLEL + "reverser L1, L2\n")
    assert "W801" not in [d.code for d in said]


def test_two_parallel_stretches_may_be_fed_apart_together():
    _, said = laid_with_warnings(PARALLEL + "reverser M, N\n")
    assert not {"W801", "W809"} & {d.code for d in said}
