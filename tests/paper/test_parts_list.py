"""The parts list: everything once, by kind, with what is left free."""

from __future__ import annotations

from bench_layouts import HEARD, WIRED, told

from bellcrank.paper.parts_list import PartRow, parts_list


def rows(text: str, part: str) -> list[PartRow]:
    return [row for row in parts_list(told(text)) if row.part == part]


def test_drives_stand_by_kind_and_decoders_with_the_outputs_they_have_free() -> None:
    assert [(r.kind, r.count, r.names) for r in rows(WIRED, "drive")] == [
        ("coil 200 ms", 1, ("P1",)),
        ("motor 3000 ms", 1, ("P2",)),
        ("by hand", 1, ("P3",)),
        ("servo 4000 ms", 1, ("TT",)),
    ]
    assert [(r.kind, r.names, r.free) for r in rows(WIRED, "decoder")] == [
        ("ten_switches, 4 outputs", ("K1",), ("K1.3",)),
        ("many, 4 outputs", ("K2",), ("K2.3", "K2.4")),
        ("heads, 2 outputs", ("K3",), ("K3.2",)),
    ]


def test_wires_are_counted_by_colour_and_plugs_once() -> None:
    # P1 has three with names; P2 and S1 three each without; TT two plugs, H one.
    assert [(r.kind, r.count) for r in rows(WIRED, "wire")] == [
        ("brown", 1),
        ("white", 1),
        ("black", 1),
        ("colour not said", 6),
    ]
    assert [r.count for r in rows(WIRED, "plug")] == [3]


def test_detectors_buttons_lamps_and_the_wires_of_inputs_are_among_them() -> None:
    assert [(r.kind, r.count, r.free) for r in rows(HEARD, "detector")] == [
        ("octo, 4 inputs", 1, ("N1.3",)),
        ("bare, 1 input", 1, ()),
    ]
    assert [r.count for r in rows(HEARD, "button")] == [5]
    assert [r.count for r in rows(HEARD, "lamp")] == [1]
    # Four inputs, and a lamp with a wire and a common one.
    assert [(r.kind, r.count) for r in rows(HEARD, "wire")] == [("colour not said", 6)]


COUPLED = """
points P1, P2
run edge WEST - A - >W - P1.toe
run P1.straight - P2.toe
run P1.diverging - <N - B - stop
run P2.straight - <S - C - stop
run P2.diverging - <D - T - stop
decoder kind quad { outputs 4 }
decoder K1 quad at 1
frog P1 = K1.3
"""


def test_a_frog_on_an_output_is_a_relay_and_no_drive() -> None:
    text = COUPLED + "drive P1 = K1.1  coil 100 ms\ndrive P2 by hand\n"
    assert [(r.count, r.names) for r in rows(text, "drive")] == [(1, ("P1",)), (1, ("P2",))]
    assert [(r.kind, r.count, r.names) for r in rows(text, "frog relay")] == [
        ("two contacts", 1, ("frog P1",))
    ]
