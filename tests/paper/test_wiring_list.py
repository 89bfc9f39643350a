"""The wiring list: terminal to terminal, in the user's own names."""

from __future__ import annotations

from typing import Any

from bench_layouts import UNWIRED, WIRED, told

from bellcrank.paper.wiring_list import decoder_outputs, device_wires


def rows(name: str) -> list[tuple[Any, ...]]:
    """The rows of a drive or signal: place, side, terminal, wire, and what for."""
    device = next(d for d in device_wires(told(WIRED)) if d.name == name)
    return [
        (
            f"{r.decoder}.{r.output}",
            r.side,
            r.terminal,
            r.wire,
            [s.state for s in r.does],
        )
        for r in device.rows
    ]


def test_with_crossed_wiring_each_wire_goes_to_the_terminal_of_the_other_side() -> None:
    assert rows("P1") == [
        ("K1.1", "red", "B1", "white", ["straight"]),
        ("K1.1", "green", "A1", "brown", ["diverging"]),
        ("K1.1", "common", "C", "black", []),
    ]


def test_where_the_layout_names_no_wire_there_is_none() -> None:
    assert rows("P2") == [
        ("K1.2", "green", "A2", None, ["straight"]),
        ("K1.2", "red", "B2", None, ["diverging"]),
        ("K1.2", "common", "C", None, []),
    ]


def test_a_servo_without_terminals_has_one_plug_to_each_output() -> None:
    assert rows("TT") == [
        ("K2.1", "all", None, None, ["north", "east"]),
        ("K2.2", "all", None, None, ["south"]),
    ]


def test_a_signal_that_is_told_values_has_one_row() -> None:
    assert rows("H") == [("K3.1", "all", None, None, ["stop", "caution", "clear"])]


def test_what_is_not_wired_has_no_rows() -> None:
    assert rows("P3") == rows("S2") == []
    assert decoder_outputs(told(UNWIRED)) == []


def test_every_output_of_a_decoder_is_listed_with_its_number_used_or_free() -> None:
    found = {
        d.name: [(o.output, o.number, [u.name for u in o.uses]) for o in d.list]
        for d in decoder_outputs(told(WIRED))
    }
    assert found == {
        "K1": [(1, 21, ["P1"]), (2, 22, ["P2"]), (3, 23, []), (4, 24, ["S1"])],
        "K2": [(1, 1001, ["TT"]), (2, 1002, ["TT"]), (3, 1003, []), (4, 1004, [])],
        "K3": [(1, 5, ["H"]), (2, 6, [])],
    }
