"""The plan for the bench: what each symbol is wired to."""

from __future__ import annotations

from bench_layouts import HEARD, UNWIRED, WIRED, plan, told

from bellcrank.paper.plan_outputs import wiring_on_plan


def test_below_each_drive_and_signal_stands_each_output_once() -> None:
    assert wiring_on_plan(told(WIRED)).beneath == {
        ("element", "P1"): ("21 · K1.1",),
        ("element", "P2"): ("22 · K1.2",),
        ("element", "TT"): ("1001 · K2.1", "1002 · K2.2"),
        ("signal", "H"): ("5 · K3.1",),
        ("signal", "S1"): ("24 · K1.4",),
    }


def test_below_a_piece_stands_the_input_that_tells_of_its_section() -> None:
    assert wiring_on_plan(told(HEARD)).beneath == {
        ("element", "A"): ("in 6 · N1.1",),
        ("element", "P"): ("in 7 · N1.2", "straight in 9 · N1.4"),
        ("element", "B"): ("in wharf/b",),
        ("element", "C"): ("in 1 · N2.1",),
    }


def test_each_line_is_drawn_below_its_name_and_a_plan_without_hardware_is_the_usual_one() -> None:
    drawn = plan(WIRED)["bench_plan"]().picture().body
    for line in ("21 · K1.1", "22 · K1.2", "1001 · K2.1", "1002 · K2.2", "5 · K3.1", "24 · K1.4"):
        assert drawn.count(f">{line}</text>") == 1
    bare = plan(UNWIRED)
    assert bare["bench_plan"]().picture() == bare["plan"]().picture()


def test_below_a_signal_stands_the_output_of_every_lamp() -> None:
    text = (
        "run edge WEST - A - >H - B - edge EAST\n"
        "decoder kind quad { outputs 4 }\n"
        "decoder K quad at 5\n"
        "signal H shows stop at K.1 red, clear at K.1 green and K.3 green\n"
    )
    assert wiring_on_plan(told(text)).beneath["signal", "H"] == ("5 · K.1", "7 · K.3")
