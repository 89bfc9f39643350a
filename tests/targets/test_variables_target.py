"""Decoders without switches: the file of their variables, and what the sheets tell to do."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from functools import cache
from typing import Any

import html5lib
from bench_layouts import plan
from sound_layouts import undecided

from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED, Document
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target

H = "{http://www.w3.org/1999/xhtml}"

HALT = """\
layout "Halt"
points P, Q
run edge WEST - A - >W - P.toe
run P.straight - B - stop
run P.diverging - Q.toe
run Q.straight - C - stop
run Q.diverging - D - stop
numbering from decoder 1
decoder kind written {
  outputs 4  set by variables  variable 33 = 2
  on times from variable 3 in steps of 10 ms
}
decoder kind taught { outputs 2  learns outputs }
decoder kind single { outputs 4  learns decoder }
decoder K1 written at 273
decoder K2 taught at 17
decoder K3 single at 21
drive P = K1.1  coil 200 ms
drive Q = K1.3  coil 355 ms
signal W = K2.1
"""


@cache
def document() -> Document:
    return build_document(undecided(HALT), SPARED)


def decoders() -> dict[str, Any]:
    return {d["name"]: d for d in document().plain["hardware"]["decoders"]}


def test_the_file_has_a_line_for_each_variable_with_its_packet() -> None:
    text = render_target(load_target("variables"), document())["variables.txt"].decode()
    lines = [line for line in text.splitlines() if re.match(r" +\d", line)]
    read = [re.fullmatch(r" *(\d+) = +(\d+)  (\S.*?) +# .*", line) for line in lines]
    told = [(int(m[1]), int(m[2]), m[3]) for m in read if m]
    assert told == [
        (v["number"], v["value"], v["packet"] or "programming track")
        for v in decoders()["K1"]["variables"]
    ]
    # Outputs 273 to 276 are those of decoder 69: 5 and 64 times 1. Q waits for 36 steps.
    assert [(number, value) for number, value, _ in told] == [
        (1, 5),
        (3, 20),
        (5, 36),
        (9, 1),
        (29, 128),
        (33, 2),
    ]
    assert text.startswith("# Halt: configuration variables of decoders, UNPROVED")


def test_the_file_of_a_layout_without_such_decoders_says_so() -> None:
    plain = HALT.replace("set by variables  variable 33 = 2", "switches 9").replace(
        "on times from variable 3 in steps of 10 ms", ""
    )
    data = build_document(undecided(plain), SPARED)
    text = render_target(load_target("variables"), data)["variables.txt"].decode()
    assert "# No decoder is set by variables." in text


@cache
def cards() -> dict[str, ET.Element]:
    """The cards of the decoder schedule, by the decoder's name."""
    page = render_target(load_target("sheets"), document(), {}, plan(HALT))["sheets.html"]
    root = html5lib.HTMLParser(strict=True).parse(page.decode())
    found = {}
    for article in root.iter(f"{H}article"):
        heading = article.find(f".//{H}h3")
        assert heading is not None
        found["".join(heading.itertext())] = article
    return found


def text(element: ET.Element) -> str:
    return " ".join("".join(element.itertext()).split())


def test_the_sheets_tell_what_to_write_into_each_variable() -> None:
    table = next(t for t in cards()["K1"].iter(f"{H}table") if t.get("class") == "variables")
    rows = [[text(cell) for cell in row] for row in table.iter(f"{H}tr")][1:]
    assert [(row[0], row[1], row[3]) for row in rows] == [
        (str(v["number"]), str(v["value"]), v["packet"] or "on a programming track")
        for v in decoders()["K1"]["variables"]
    ]
    assert [row[2] for row in rows] == [
        "address, low part",
        "time on, output 1",
        "time on, output 3",
        "address, high part",
        "how it is addressed",
        "as the layout says",
    ]


def test_the_sheets_tell_what_to_command_while_the_button_is_held() -> None:
    taught, single = ([text(li) for li in cards()[k].iter(f"{H}li")] for k in ("K2", "K3"))
    assert taught == [
        "Hold its button for output 1, command 17 green, and let go when it answers.",
        "Hold its button for output 2, command 18 green, and let go when it answers.",
    ]
    assert single == ["Hold its button, command 21 green, and let go when it answers."]
    assert "The numbers up to 24 follow by themselves." in text(cards()["K3"])


def test_of_an_output_that_stays_on_the_sheet_defers_to_the_papers_of_the_decoder() -> None:
    text = HALT + "frog P = K1.4\n"
    data = build_document(undecided(text), SPARED)
    page = render_target(load_target("sheets"), data, {}, plan(text))["sheets.html"].decode()
    rows = [
        " ".join("".join(row.itertext()).split())
        for row in html5lib.parse(page).iter(f"{H}tr")
        if "time on, output" in "".join(row.itertext())
    ]
    assert len(rows) == 3
    assert ["0 lets it stay on (see its papers)" in row for row in rows] == [False, False, True]
    assert rows[-1].startswith("60time on, output 4")
