"""Runs joined up to track: pieces, legs, edges, stops, signals, coupled drives."""

from __future__ import annotations

import pytest
from laid import laid, laid_with_warnings

from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.graph import IN, OUT, track_graph
from bellcrank.layout.layout_model import Edge, Leg, Stop, Work
from bellcrank.syntax.load import load_text


def test_a_run_joins_its_pieces_from_left_to_right():
    layout = laid("run edge WEST - A - >H - B - stop")
    assert layout.joined == {
        Leg("A", "left"): Edge("WEST"),
        Leg("A", "right"): Leg("B", "left"),
        Leg("B", "left"): Leg("A", "right"),
        Leg("B", "right"): Stop(Leg("B", "right")),
    }
    assert layout.edges == {"WEST": Leg("A", "left")}
    assert list(layout.elements) == ["A", "B"]
    assert all(element.plain for element in layout.elements.values())


def test_a_run_may_begin_with_a_stop_and_end_at_an_edge():
    layout = laid("run stop - A - >H - B - edge EAST")
    assert layout.joined[Leg("A", "left")] == Stop(Leg("A", "left"))
    assert layout.edges == {"EAST": Leg("B", "right")}


def test_a_piece_named_in_two_runs_is_one_piece_that_the_second_goes_on_from():
    layout = laid("run edge WEST - A - >H - B\nrun B - C - stop")
    assert list(layout.elements) == ["A", "B", "C"]
    assert layout.joined[Leg("B", "right")] == Leg("C", "left")
    assert layout.joined == laid("run edge WEST - A - >H - B - C - stop").joined


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 2, 0)])
def test_the_order_of_the_lines_does_not_matter(order: tuple[int, ...]):
    lines = [
        "points P1",
        "run edge WEST - A - >H - P1.toe",
        "run P1.straight - B - stop\nrun P1.diverging - C - stop",
    ]
    layout = laid("\n".join(lines[i] for i in order))
    assert layout.joined == laid("\n".join(lines)).joined
    assert layout.signals["H"].beyond == Leg("P1", "toe")


def test_a_signal_stands_at_a_joint_and_is_read_from_the_side_that_its_sign_shows():
    layout = laid("run edge WEST - A - >R - <L - B - edge EAST")
    rightwards, leftwards = layout.signals["R"], layout.signals["L"]
    assert (rightwards.before, rightwards.beyond) == (Leg("A", "right"), Leg("B", "left"))
    assert (leftwards.before, leftwards.beyond) == (Leg("B", "left"), Leg("A", "right"))


def test_a_signal_may_stand_where_track_enters_the_layout():
    layout = laid("run edge WEST - >H - A - stop")
    assert layout.signals["H"].before == Edge("WEST")
    assert layout.signals["H"].beyond == Leg("A", "left")


def test_legs_of_two_fittings_may_touch():
    layout = laid(
        "points P1, P2\nrun edge WEST - A - >H - P1.toe\nrun P1.straight - P2.toe\n"
        "run P1.diverging - B - stop\nrun P2.straight - C - stop\nrun P2.diverging - D - stop\n"
    )
    assert layout.joined[Leg("P1", "straight")] == Leg("P2", "toe")
    assert layout.joined[Leg("P2", "toe")] == Leg("P1", "straight")


def test_an_oval_without_edges_is_a_layout():
    layout = laid("run A - >H1 - B\nrun B - >H2 - A")
    assert layout.edges == {}
    assert layout.joined[Leg("B", "right")] == Leg("A", "left")
    assert layout.joined[Leg("A", "left")] == Leg("B", "right")
    assert layout.signals["H2"].beyond == Leg("A", "left")


def test_an_oval_may_be_one_piece_joined_to_itself():
    layout, said = laid_with_warnings("run A - >H - A")
    assert [d.code for d in said] == ["W802"]  # the signal stands inside its only section
    assert layout.joined == {
        Leg("A", "right"): Leg("A", "left"),
        Leg("A", "left"): Leg("A", "right"),
    }


def test_joints_are_the_same_from_both_sides():
    layout = laid(
        "points P1, P2\nrun edge WEST - A - >H - P1.toe\nrun P1.straight - M - P2.straight\n"
        "run P1.diverging - N - P2.diverging\nrun P2.toe - B - edge EAST\n"
    )
    for leg, end in layout.joined.items():
        if isinstance(end, Leg):
            assert layout.joined[end] == leg
    assert set(layout.joined) == {
        Leg(e.name, leg) for e in layout.elements.values() for leg in e.kind.legs
    }


def test_the_track_graph_has_a_step_for_each_way_in_each_direction_and_no_turning_back():
    layout = laid(
        "points P1\nrun edge WEST - A - >H - P1.toe\nrun P1.straight - B - stop\n"
        "run P1.diverging - C - stop\n"
    )
    graph = track_graph(layout)
    toe, straight, diverging = (Leg("P1", leg) for leg in ("toe", "straight", "diverging"))
    assert set(graph[(toe, IN)]) == {(straight, OUT), (diverging, OUT)}
    assert set(graph[(straight, IN)]) == {(toe, OUT)}
    assert set(graph[(straight, OUT)]) == {(Leg("B", "left"), IN)}
    assert set(graph[(Leg("B", "right"), OUT)]) == set()


# ---------------------------------------------------------------- coupled drives

CROSSOVER = """\
points PA, PB
coupled PA, PB
run edge A_WEST - A1 - >HA - PA.toe
run PA.straight - A2 - edge A_EAST
run edge B_WEST - B1 - >HB - PB.straight
run PB.toe - B2 - edge B_EAST
run PA.diverging - PB.diverging
"""


def test_coupled_points_are_thrown_as_one_drive_with_the_first_name():
    layout = laid(CROSSOVER)
    assert list(layout.drives) == ["PA"]
    assert layout.drives["PA"].works == (Work("PA", ""), Work("PB", ""))
    assert layout.drive_of == {Work("PA", ""): "PA", Work("PB", ""): "PA"}
    (way,) = layout.ways_from(Leg("PB", "diverging"))
    assert way.when == (("PA", "diverging"),)


def test_drives_may_be_coupled_in_several_lines():
    layout = laid(
        "points P1, P2, P3\ncoupled P1, P2\ncoupled P2, P3\n"
        "run edge WEST - A - >H - P1.toe\nrun P1.straight - P2.toe\nrun P1.diverging - P3.toe\n"
        "run P2.straight - A2 - stop\nrun P2.diverging - B2 - stop\n"
        "run P3.straight - A3 - stop\nrun P3.diverging - B3 - stop\n"
    )
    assert list(layout.drives) == ["P1"]
    assert layout.drives["P1"].elements == ("P1", "P2", "P3")


@pytest.mark.parametrize("again", ["coupled P1, P2, P2", "coupled P1, P2\ncoupled P3, P1, P2"])
def test_a_drive_that_is_coupled_already_is_told(again: str):
    text = "points P1, P2, P3\n" + "".join(
        f"run P{n}.toe - A{n} - stop\nrun P{n}.straight - B{n} - >S{n} - C{n} - stop\n"
        f"run P{n}.diverging - D{n} - stop\n"
        for n in (1, 2, 3)
    )
    _, found = build_layout(load_text(text + again, "x")[0])
    assert [d.code for d in found if d.severity == "error"] == ["E323"]


def test_one_end_of_a_slip_may_be_coupled_to_the_end_of_another():
    text = "double slip S1, S2 with two drives\ncoupled S1.end1, S2.end1\n"
    for slip in ("S1", "S2"):
        for end in ("a", "b"):
            text += f"run edge W{end}{slip} - {end}1_{slip} - >H{end}{slip} - {slip}.{end}1\n"
            text += f"run {slip}.{end}2 - {end}2_{slip} - edge E{end}{slip}\n"
    layout = laid(text)
    assert list(layout.drives) == ["S1.end1", "S1.end2", "S2.end2"]
    assert layout.drive_of[Work("S2", "end1")] == "S1.end1"
    assert layout.drives["S1.end1"].elements == ("S1", "S2")
    assert list(map(str, layout.drives["S1.end1"].works)) == ["S1.end1", "S2.end1"]
    assert layout.drives_in("S2") == ["S2.end1", "S2.end2"]
    assert layout.drives_by_name()["S2.end1"] == "S1.end1"


# -------------------------------------------------------------------- the whole


@pytest.mark.parametrize(
    ("line", "rails", "detection"),
    [
        ("", 2, True),
        ('layout "Halt"\n', 2, True),
        ('layout "Halt" on two rails\n', 2, True),
        ('layout "Halt" on 3 rails\n', 3, True),
        ('layout "Halt" on three rails without detection\n', 3, False),
        ('layout "Halt" without detection\n', 2, False),
    ],
)
def test_a_layout_has_two_rails_and_detection_unless_it_says_otherwise(
    line: str, rails: int, detection: bool
):
    layout = laid(line + "run edge WEST - A - >H - B - stop")
    assert (layout.rails, layout.detection) == (rails, detection)
    assert layout.title == ("Halt" if line else "layout")


def test_names_may_be_of_any_alphabet_and_begin_with_a_figure():
    layout = laid("run edge Øst - 12A - >Ü1 - Γλυφάδα - stop")
    assert list(layout.elements) == ["12A", "Γλυφάδα"]
    assert list(layout.signals) == ["Ü1"]
