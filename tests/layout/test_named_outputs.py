"""Outputs for lights, gates and uncouplers, which no route needs."""

from __future__ import annotations

import json
from typing import Any

import pytest
from sound_layouts import compiled, undecided

from bellcrank.document.build_document import build_document
from bellcrank.document.command_data import command_data
from bellcrank.document.document_types import SPARED, Document
from bellcrank.emit.render import command_lines, render_target
from bellcrank.emit.target import load_target
from bellcrank.hardware.packet_bytes import basic_accessory
from bellcrank.layout.build_layout import build_layout
from bellcrank.paper.labels import label_words
from bellcrank.paper.wiring_list import decoder_outputs
from bellcrank.syntax.load import load_text
from bellcrank.timing.lists import to_switch
from bellcrank.timing.pace import breaches

HALT = """\
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - T1 - stop
run P1.diverging - <S2 - T2 - stop
numbering from decoder 1
decoder kind quad { outputs 4 }
decoder K1 quad at 13
drive P1 = K1.1  coil 200 ms
"""

OUTPUTS = """\
output LAMPS = K1.2
output GATE with open, closed = K1.3  motor 2 s
output PULL = quad green  coil 400 ms
"""


def document() -> Document:
    return build_document(undecided(HALT + OUTPUTS), SPARED)


def test_an_output_is_known_by_name_with_what_its_sides_bring_about() -> None:
    told = document().plain["hardware"]["outputs"]
    assert [(o["name"], o["number"], o["action"], o["milliseconds"]) for o in told] == [
        ("LAMPS", 14, None, None),
        ("GATE", 15, "motor", 2000),
        ("PULL", 16, "coil", 400),
    ]
    assert [{s["state"]: s["side"] for s in o["states"]} for o in told] == [
        {"on": "green", "off": "red"},
        {"open": "green", "closed": "red"},
        {"on": "green"},
    ]


def test_it_is_commanded_by_name_and_a_coil_is_switched_off_again() -> None:
    c = undecided(HALT + OUTPUTS)
    lines = {}
    for name, state in (("LAMPS", "off"), ("GATE", "open"), ("PULL", "on")):
        (timed,) = to_switch(c.layout, name, state).commands
        (line,) = command_lines(
            load_target("packets"), document(), [command_data(timed.command, c.layout)]
        )
        first, *more = line.split("\n")
        lines[name] = (first, timed.command.held, timed.until)
        if name == "LAMPS":  # the green side is switched off first
            assert bytes.fromhex(first) == basic_accessory(
                14, green=True, activate=False, first_decoder=1
            )
            lines[name] = (more[0], timed.command.held, timed.until)
    # Outputs 13 to 16 are those of decoder 4, in the order of its pairs (NMRA S-9.2.1).
    assert lines == {
        "LAMPS": ("84 FA 7E", False, 0),
        "GATE": ("84 FD 79", False, 2000),
        "PULL": ("84 FF 7B", True, 400),
    }


@pytest.mark.parametrize(("lamps", "off"), [("", "green"), ("  lamps paired", None)])
def test_the_other_side_of_one_that_stays_on_is_switched_off(lamps: str, off: str | None) -> None:
    c = compiled((HALT + OUTPUTS).replace("outputs 4", f"outputs 4{lamps}"))
    (timed,) = to_switch(c.layout, "LAMPS", "off").commands
    assert [lamp.side for lamp in timed.command.puts_out] == ([off] if off else [])
    for name, state in (("GATE", "open"), ("PULL", "on")):  # they end by themselves
        (timed,) = to_switch(c.layout, name, state).commands
        assert timed.command.puts_out == ()


def test_messages_for_boards_say_how_long_a_coil_is_on() -> None:
    told = json.loads(render_target(load_target("mqtt"), document())["messages.json"])
    (pull,) = (d for d in told["devices"] if d["name"] == "PULL")
    (command,) = pull["commands"]
    assert (
        json.loads(command["payload"] if "payload" in command else json.dumps(command))[
            "milliseconds"
        ]
        == 400
    )


def test_it_is_in_no_list_of_a_route_and_changes_no_locking() -> None:
    with_, without = undecided(HALT + OUTPUTS), undecided(HALT)
    said = [build_document(c, SPARED).plain for c in (with_, without)]
    assert said[0]["timetables"] == said[1]["timetables"]
    assert said[0]["conflicts"] == said[1]["conflicts"]
    assert said[0]["machine"] == said[1]["machine"]


def test_a_supply_counts_what_is_thrown_by_name() -> None:
    c = compiled(HALT + OUTPUTS + "supply BENCH { feeds K1  one at a time }\n")
    gate, pull = to_switch(c.layout, "GATE", "open"), to_switch(c.layout, "PULL", "on")
    assert [b.name for b in breaches(c.layout, [(0, gate), (1999, pull)])] == ["BENCH"]
    assert breaches(c.layout, [(0, gate), (2000, pull)]) == ()


def test_it_is_wired_and_has_a_label() -> None:
    (decoder,) = decoder_outputs(document())
    assert [[(r.device, r.name, r.side) for r in o.rows] for o in decoder.list[1:]] == [
        [("output", "LAMPS", side) for side in ("green", "red", "common")],
        [("output", "GATE", "green"), ("output", "GATE", "red")],
        [("output", "PULL", "green"), ("output", "PULL", "common")],
    ]
    labels = {w.name: w.lines for w in label_words(document()) if w.of == "output"}
    assert labels["GATE"] == ("15 · K1.3", "green open", "red closed")


@pytest.mark.parametrize("word", ["output", "output2"])
def test_its_keyword_may_be_a_name_as_before(word: str) -> None:
    text = f"run edge WEST - {word} - >H - B - stop\nexpect H to B never with H to B\n"
    program, unread = load_text(text, "x")
    assert unread == ()
    assert word in build_layout(program)[0].elements


@pytest.mark.parametrize(
    ("line", "code", "column"),
    [
        ("output GATE = K1.1", "E602", 15),
        ("output GATE = K1.9", "E601", 18),
        ("output P1 = K1.2", "E203", 8),
        ("output GATE = K1.2 blue", "E609", 20),
        ("output GATE with open = K1.2", "E609", 18),
        ("output GATE with open, open = K1.2", "E609", 18),
        ("output GATE with open, closed = K1.2 green", "E609", 18),
        ("output GATE = K1.2  coil 900 ms", "E611", 26),
        ("output GATE = K1.2  motor 3", "E606", 27),
    ],
)
def test_what_cannot_work_is_marked_where_it_stands(line: str, code: str, column: int) -> None:
    found: Any = build_layout(load_text(HALT + line, "x")[0])[1]
    assert [(d.code, d.span.line, d.span.column) for d in found] == [(code, 9, column)]
