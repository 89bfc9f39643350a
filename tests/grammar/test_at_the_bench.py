"""What the language reference says of decoders at the bench is what comes out of its examples."""

from __future__ import annotations

import re

import html5lib
import pytest
from at_the_bench import REFERENCE, TABLED, table
from bench_layouts import plan
from lark import Lark
from sound_layouts import undecided

from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED
from bellcrank.emit.render import NO_OPTIONS, render_target
from bellcrank.emit.target import load_target

GRAMMAR = REFERENCE.with_name("layout.lark").read_text("utf-8")

EXAMPLES = [(m["text"], m["table"]) for m in TABLED.finditer(REFERENCE.read_text("utf-8"))]

every_example = pytest.mark.parametrize(
    ("text", "said"), EXAMPLES, ids=[text.split('"')[1] for text, _ in EXAMPLES]
)

SORTS = {
    "kind_switches", "kind_weights", "kind_counts", "kind_from", "kind_inverted", "kind_rotary",
    "kind_by_variables", "kind_on_times", "kind_learns", "kind_terminals", "kind_pulses",
    "kind_lamps", "kind_packets", "drive_placed", "drive_valued", "drive_held_on",
    "drive_one_at_each", "drive_crossed", "repeaters", "lit_lamp", "output_line", "output_states",
}  # fmt: skip
"""What makes decoders and what is wired to them differ, as the grammar calls it."""


@every_example
def test_the_table_behind_a_layout_is_what_comes_of_it(text: str, said: str) -> None:
    assert said == table(text)


def test_every_sort_of_decoder_and_wiring_is_in_a_layout_with_a_table() -> None:
    parser = Lark(GRAMMAR, parser="lalr", start="file", maybe_placeholders=True)
    used = {str(t.data) for text, _ in EXAMPLES for t in parser.parse(text).iter_subtrees()}
    assert SORTS - used == set()
    words = " ".join(text for text, _ in EXAMPLES)
    for kind in ("alone", "paired", "grouped"):
        assert kind == "alone" or f"lamps {kind}" in words  # `alone` is meant if nothing is said
    for word in ("counts groups of four", "learns", "blinking", " and ", "rotary"):
        assert word in words


@pytest.mark.campaign
@every_example
def test_what_the_table_says_to_set_and_send_stands_on_the_sheets(text: str, said: str) -> None:
    data = build_document(undecided(text), SPARED)
    made = render_target(load_target("sheets"), data, NO_OPTIONS, plan(text))
    tree = html5lib.parse(made["sheets.html"].decode("utf-8"))
    for packet in list(tree.iter("{http://www.w3.org/1999/xhtml}code")):
        packet.text = ""
    printed = re.sub(r"\s+", " ", " ".join(tree.itertext()))
    printed = re.sub(r" ([,)])", r"\1", printed).replace("( ", "(")
    for row in said.splitlines()[2:]:
        _, given, _, sent = row.removeprefix("| ").removesuffix(" |").split(" | ")
        assert sent in printed, row
        for number in re.findall(r"\d+ green", given if given.startswith("button") else ""):
            assert f"command {number}" in printed
        if given.startswith("switches on: "):
            assert f"On: {given.removeprefix('switches on: ')}" in printed
        if given.startswith("rotary switches: "):
            assert f"Shows: {given.removeprefix('rotary switches: ')}" in printed
