"""Drives of which each position is wired for itself, motors that are held on, and indexers."""

from __future__ import annotations

import io
from typing import Any

import pytest
from laid import laid
from rich.console import Console
from sound_layouts import undecided

from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED
from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.layout_model import OutputRef, Place
from bellcrank.machine.commands import drive_wire, throw_command
from bellcrank.paper.wiring_list import decoder_outputs, device_wires
from bellcrank.readback.bench import Bench
from bellcrank.syntax.load import load_text
from bellcrank.terminal.timetable_text import timetable_text
from bellcrank.timing.timetable_model import Timed, Timetable

JUNCTION = """\
points P
run edge WEST - A - >H - P.toe
run P.straight - <S1 - B - stop
run P.diverging - <S2 - C - stop
numbering from decoder 1
decoder kind quad { outputs 4 }
decoder K quad at 5
decoder kind heads { outputs 2  packets extended }
decoder X heads at 101
"""

WORKS = """\
fitting turntable with three positions {
  legs lead, north, east, south
  drive one, two, three
  way lead - north when one
  way lead - east when two
  way lead - south when three
}
turntable TT with three positions
run edge WORKS - A - >H - TT.lead
run TT.north - <N - R1 - stop
run TT.east - <E - R2 - stop
run TT.south - <S - R3 - stop
numbering from decoder 1
decoder kind quad { outputs 4 }
decoder K quad at 5
decoder kind indexer { outputs 1  packets extended }
decoder X indexer at 101
"""

TWO_COILS = "drive P straight at K.1 green, diverging at K.2 green  coil 200 ms\n"
STALLS = "drive P straight at K.1 green, diverging at K.2 green  motor 3 s  held on\n"


def codes(text: str) -> list[str]:
    program, unread = load_text(text, "x")
    return [d.code for d in unread or build_layout(program)[1]]


def commands(text: str, name: str) -> dict[str, Any]:
    """What throws a drive, by its position, from the document's states."""
    states = build_document(undecided(text), SPARED).plain["states"]
    return {s["state"]: s for s in states if (s["device"], s["name"]) == ("drive", name)}


# ------------------------------------------------------------------ one by one


def test_each_position_may_have_an_output_of_its_own() -> None:
    wiring = laid(JUNCTION + TWO_COILS).hardware.wirings["P"]
    assert wiring.outputs == (OutputRef("K", 1), OutputRef("K", 2))
    assert [wiring.place(k) for k in (0, 1)] == [
        Place(OutputRef("K", 1), "green", None),
        Place(OutputRef("K", 2), "green", None),
    ]


def test_crossed_swaps_what_throws_the_two_positions() -> None:
    layout = laid(JUNCTION + TWO_COILS.replace("\n", "  crossed\n"))
    assert drive_wire(layout, "P", "straight").ref == ("K", 2)
    assert drive_wire(layout, "P", "diverging").ref == ("K", 1)


def test_the_order_in_which_positions_are_named_does_not_matter() -> None:
    turned = "drive P diverging at K.2 green, straight at K.1 green  coil 200 ms\n"
    assert laid(JUNCTION + turned).hardware.wirings["P"].stated == (
        laid(JUNCTION + TWO_COILS).hardware.wirings["P"].stated
    )


def test_the_other_side_of_such_an_output_is_free_for_something_else() -> None:
    shown = "signal H shows stop at K.1 red, proceed at K.2 red\n"
    assert laid(JUNCTION + TWO_COILS + shown).signals["H"].aspects[0].output == ("K", 1)


@pytest.mark.parametrize(
    ("line", "code", "column"),
    [
        ("drive P straight at K.1 green  coil 200 ms", "E609", 9),
        ("drive P straight at K.1 green, straight at K.2 green", "E609", 32),
        ("drive P straight at K.1 green, left at K.2 green", "E201", 32),
        ("drive P straight at K.1 green, diverging at K.1 green", "E602", 45),
        ("drive P straight at K.1 blue, diverging at K.1 green", "E609", 25),
        ("drive P straight at K.9 green, diverging at K.1 green", "E601", 23),
        ("drive P straight at X.1 green, diverging at X.2 green", "E612", 21),
        ("drive P straight at heads green, diverging at heads red", "E612", 21),
        ("drive P straight at quad green, diverging at quad blue", "E609", 51),
        ("drive P straight as 1, diverging as 2 = quad  motor 3 s", "E612", 41),
        ("drive P straight as 1, diverging as 2 = K.1  motor 3 s", "E612", 41),
        ("drive P straight as 1, diverging as 1 = X.1  motor 3 s", "E609", 37),
        ("drive P straight as 1, diverging as 256 = X.1  motor 3 s", "E608", 37),
        ("drive P straight as 1, diverging as 2 = X.1  coil 200 ms", "E609", 46),
        ("drive P = X.1  motor 3 s", "E612", 11),
        ("drive P = K.1  coil 200 ms  held on", "E609", 16),
        ("drive P straight as 1, diverging as 2 = X.1  motor 3 s  held on", "E609", 46),
    ],
)
def test_what_cannot_work_is_marked_where_it_stands(line: str, code: str, column: int) -> None:
    found = build_layout(load_text(JUNCTION + line, "x")[0])[1]
    assert [(d.code, d.span.line, d.span.column) for d in found] == [(code, 10, column)]


# --------------------------------------------------------------------- held on


@pytest.mark.parametrize(
    ("lamps", "goes_out"),
    [("alone", [("K", 2, "green")]), ("paired", [("K", 2, "green")]), ("grouped", [])],
)
def test_of_a_motor_between_two_outputs_the_other_is_switched_off_first(
    lamps: str, goes_out: list[Any]
) -> None:
    text = JUNCTION.replace("outputs 4", f"outputs 4  lamps {lamps}") + STALLS
    off = commands(text, "P")["straight"]["puts_out"]
    assert [(o["decoder"], o["output"], o["side"]) for o in off] == goes_out


def test_of_a_motor_between_two_sides_the_other_goes_off_with_it_or_is_switched_off() -> None:
    text = JUNCTION + "drive P = K.1  motor 3 s  held on\n"
    assert [o["side"] for o in commands(text, "P")["straight"]["puts_out"]] == ["red"]
    paired = text.replace("outputs 4", "outputs 4  lamps paired")
    assert commands(paired, "P")["straight"]["puts_out"] == []


def test_a_motor_that_is_driven_both_ways_at_once_lies_nobody_knows_where() -> None:
    bench = Bench(laid(JUNCTION + STALLS))
    bench.switch_on(5, "green", ends=True)
    assert bench.lies["P"] is None  # the other output may be on still
    bench.switch_off(6, "green")
    assert bench.lies["P"] == "straight"
    bench.switch_on(6, "green", ends=True)
    assert bench.lies["P"] is None
    bench.switch_off(5, "green")
    assert bench.lies["P"] == "diverging"
    bench.switch_off(6, "green")
    assert bench.lies["P"] == "diverging"


def test_a_motor_held_on_has_two_wires_and_no_common_one() -> None:
    kind = 'outputs 4  terminals pair "%", common "C"'
    for line, terminals in (
        (STALLS, [("straight", "1"), ("diverging", "3")]),
        ("drive P = K.1  motor 3 s  held on\n", [("straight", "1"), ("diverging", "2")]),
    ):
        text = JUNCTION.replace("outputs 4", kind) + line
        document = build_document(undecided(text), SPARED)
        (drive,) = (d for d in device_wires(document) if d.name == "P")
        assert [(row.does[0].state, row.terminal) for row in drive.rows] == terminals
        assert drive.held_on


def test_a_coil_at_each_output_has_a_common_wire_there() -> None:
    document = build_document(undecided(JUNCTION + TWO_COILS), SPARED)
    decoder = next(d for d in decoder_outputs(document) if d.name == "K")
    assert [[row.side for row in o.rows] for o in decoder.list] == [
        ["green", "common"],
        ["green", "common"],
        [],
        [],
    ]


# ------------------------------------------------------------------- turntables


def test_an_indexer_is_sent_the_value_of_a_position() -> None:
    text = WORKS + "drive TT one as 1, two as 2, three as 7 = X.1  motor 20 s\n"
    said = commands(text, "TT")
    assert {p: (s["number"], s["side"], s["value"]) for p, s in said.items()} == {
        "one": (101, None, 1),
        "two": (101, None, 2),
        "three": (101, None, 7),
    }
    bench = Bench(laid(text))
    bench.show(101, 7)
    assert bench.lies == {"TT": "three"}


def test_a_turntable_may_have_a_side_of_an_output_for_each_position() -> None:
    line = "drive TT one at K.1 green, two at K.1 red, three at K.3 red  motor 20 s\n"
    said = commands(WORKS + line, "TT")
    assert {p: (s["output"], s["side"]) for p, s in said.items()} == {
        "one": (1, "green"),
        "two": (1, "red"),
        "three": (3, "red"),
    }
    assert codes(WORKS + line.replace(", three at K.3 red", "")) == ["E609"]


def test_a_command_by_value_is_told_as_a_value_and_not_as_a_side() -> None:
    layout = laid(WORKS + "drive TT one as 1, two as 2, three as 7 = X.1  motor 20 s\n")
    command = throw_command(layout, "TT", "three")
    assert command.side_or_value == "value 7"
    timetable = Timetable("throw", "", (Timed(0, 20_000, command),), 20_000, 20_000)
    console = Console(width=200, file=io.StringIO())
    with console.capture() as capture:
        console.print(timetable_text(timetable, 200))
    assert "X.1 value 7, output 101" in capture.get()


def test_kinds_take_the_place_of_outputs_and_sides_share_one_where_they_can():
    text = JUNCTION + "drive P straight at quad green, diverging at quad red  motor 3 s  held on\n"
    layout = laid(text)
    places = [layout.hardware.wirings["P"].place(index) for index in range(2)]
    assert [(p.output, p.side) for p in places] == [
        (OutputRef("K", 1), "green"),
        (OutputRef("K", 1), "red"),
    ]
    layout = laid(text.replace("quad red", "quad green"))
    places = [layout.hardware.wirings["P"].place(index) for index in range(2)]
    assert [str(p.output) for p in places] == ["K.1", "K.2"]
    layout = laid(JUNCTION + "drive P straight as 1, diverging as 2 = heads  servo 1 s\n")
    assert [str(layout.hardware.wirings["P"].place(n).output) for n in range(2)] == ["X.1"] * 2
