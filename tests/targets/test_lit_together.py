"""An aspect of several lamps in everything that is written for the bench and sent there."""

from __future__ import annotations

import csv
import io
import json
import re
from functools import cache
from typing import Any

import html5lib
from bench_layouts import plan
from sound_layouts import undecided

from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED, Document
from bellcrank.emit.render import command_lines, render_target
from bellcrank.emit.target import load_target
from bellcrank.paper.labels import label_words
from bellcrank.paper.wiring_list import decoder_outputs, device_wires

HALT = """\
layout "Halt"
run edge WEST - A - >H - B - edge EAST
numbering from decoder 1
decoder kind quad { outputs 4 }
decoder K quad at 5
signal H shows stop at K.1 red, caution at K.1 green and K.2 red blinking, clear at K.1 green
route H to EAST shows caution
"""

EVENTS = {"range": "05.01.01.01.22.00"}


@cache
def document() -> Document:
    return build_document(undecided(HALT), SPARED)


def written(name: str, given: Any = None) -> dict[str, str]:
    made = render_target(load_target(name), document(), given or {}, plan(HALT))
    return {path: data.decode("utf-8") for path, data in made.items()}


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


def packet(pair: int, side: int, on: int) -> str:
    """A basic accessory packet to decoder 2, which has outputs 5 to 8 where 1 has 1 to 4, built
    from the figure of the format (NMRA S-9.2.1): 10AAAAAA 1AAACDDR, and their exclusive or."""
    first, second = 0b1000_0010, 0b1111_0000 | on << 3 | pair << 1 | side
    return f"{first:02X} {second:02X} {first ^ second:02X}"


RED_OFF, RED_TOO, GREEN = packet(0, 0, 0), packet(1, 0, 1), packet(0, 1, 1)


def test_the_document_has_the_first_lamp_where_it_ever_was_and_the_other_beside_it() -> None:
    data = document().plain
    caution = data["layout"]["signals"][0]["aspects"][1]
    assert [caution[field] for field in ("number", "side", "blinking")] == [6, "red", True]
    (beside,) = caution["lights"]
    assert beside == {
        "decoder": "K", "output": 1, "number": 5, "side": "green", "blinking": False,
    }  # fmt: skip
    states = {s["state"]: s for s in data["states"] if s["device"] == "signal"}
    (command,) = (c for c in data["commands"] if c["state"] == "caution")
    for said in (states["caution"], command):
        assert [(x["number"], x["side"], x["packet"]) for x in said["lights"]] == [
            (5, "green", GREEN)
        ]
        assert [(x["number"], x["side"], x["packet"]) for x in said["puts_out"]] == [
            (5, "red", RED_OFF)
        ]
    assert states["stop"]["lights"] == states["clear"]["lights"] == []


def test_packets_put_out_light_and_light_the_other_one_after_another() -> None:
    text = written("packets")["packets.txt"]
    told = re.search(r"(?s)set H to EAST\n(.*?)\n\n", text)
    assert told is not None
    sent = re.findall(r"ms  ((?:[0-9A-F]{2} ){2}[0-9A-F]{2})", told[1])
    assert sent[-3:] == [RED_OFF, RED_TOO, GREEN]


def test_a_text_for_the_command_has_all_of_it() -> None:
    (command,) = (c for c in document().commands if c.state == "caution")

    def line(name: str) -> str:
        (text,) = command_lines(load_target(name), document(), [command])
        return text

    assert line("packets") == f"{RED_OFF}\n{RED_TOO}\n{GREEN}\n"
    (fields,) = csv.reader([line("csv")])
    assert fields == ["signal", "H", "caution", "6", "red", "", "5 red", "5 green"]
    sent = json.loads(line("mqtt"))
    assert (sent["number"], sent["side"]) == (6, "red")
    assert sent["puts_out"] == [{"number": 5, "side": "red"}]
    assert sent["lights"] == [{"number": 5, "side": "green"}]


def test_lists_and_tables_have_a_column_for_it() -> None:
    (row,) = (r for r in rows(written("csv")["command-list.csv"]) if r["state"] == "caution")
    assert (row["output number"], row["side"], row["lights"]) == ("6", "red", "5 green")
    events = rows(written("events", EVENTS)["event-table.csv"])
    assert {r["state"]: r["lights"] for r in events if r["device"] == "signal"} == {
        "stop": "",
        "caution": "5 green",
        "clear": "",
    }


# ------------------------------------------------------------------- on paper


def test_each_lamp_is_a_wire_with_all_aspects_that_light_it() -> None:
    (wires,) = (d for d in device_wires(document()) if d.name == "H")
    assert [(r.output, r.side, [s.state for s in r.does]) for r in wires.rows if r.does] == [
        (1, "red", ["stop"]),
        (2, "red", ["caution, blinking"]),
        (1, "green", ["caution", "clear"]),
    ]
    (decoder,) = decoder_outputs(document())
    assert decoder.used == 2


def test_the_label_says_of_each_output_what_its_sides_light_for() -> None:
    (label,) = (words for words in label_words(document()) if words.name == "H")
    assert label.lines == (
        "5 · K.1",
        "red stop, green caution/clear",
        "6 · K.2",
        "red caution blinking",
    )


def test_the_checklist_has_every_lamp_of_an_aspect_and_its_packet() -> None:
    tree = html5lib.parse(written("sheets", {"checklist": "full"})["sheets.html"])
    (seen,) = (
        " ".join("".join(span.itertext()).split())
        for span in tree.iter("{http://www.w3.org/1999/xhtml}span")
        if span.get("class") == "seen aspect" and "caution" in "".join(span.itertext())
    )
    assert seen == (
        f"caution 5 red off {RED_OFF}, blinking: 6 red (K.2){RED_TOO} and 5 green (K.1){GREEN}"
    )
