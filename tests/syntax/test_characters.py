"""Characters that people and programs read differently: refused wherever they stand."""

from __future__ import annotations

from pathlib import Path

import pytest
from sound_layouts import checked

import bellcrank
from bellcrank.diagnostics import render
from bellcrank.syntax.load import load_file, load_text

TRACK = "run edge WEST - A - >H - B - stop\n"

LINE_ENDS = ["\r", "\x0b", "\x0c", "\x85", "\u2028", "\u2029"]

DIRECTIONS = [
    *map(chr, range(0x202A, 0x202F)),
    *map(chr, range(0x2066, 0x206A)),
    "\u200e",
    "\u200f",
    "\u061c",
]


@pytest.mark.parametrize("sign", LINE_ENDS + DIRECTIONS, ids=lambda sign: f"U+{ord(sign):04X}")
@pytest.mark.parametrize(
    ("before", "after"),
    [
        ('layout "Quay', ' side"\n' + TRACK),
        ("# ready", " signal H shunt\n" + TRACK),
        ("run edge WEST - A -", " >H - B - stop\n"),
        ("run edge WEST - A", "B - >H - B - stop\n"),
        (TRACK + 'use "a', '"'),
    ],
)
def test_a_character_that_is_not_read_alike_everywhere_is_refused_at_its_place(
    sign: str, before: str, after: str
):
    found = load_text(before + sign + after, "x.crank")[1]
    assert found[0].code == "E108"
    rows = before.split("\n")
    assert str(found[0].span) == f"x.crank:{len(rows)}:{len(rows[-1]) + 1}"
    assert f"U+{ord(sign):04X}" in found[0].message
    shown = render(found[0], {"x.crank": before + sign + after})
    assert sign not in shown
    *_, row, caret = (line for line in shown.split("\n") if " | " in line)
    assert caret.index("^") == row.index("?")


def test_a_return_before_a_line_feed_is_no_character_of_the_line():
    assert load_text(TRACK.replace("\n", "\r\n"), "x")[1] == ()
    assert load_text(TRACK.rstrip("\n") + "\r", "x")[1] == ()


def test_in_a_file_a_return_alone_is_refused(tmp_path: Path):
    path = tmp_path / "main.crank"
    path.write_bytes(b"# remark\rsignal H shunt\r\n" + TRACK.encode())
    (found,) = load_file(path)[1]
    assert (found.code, str(found.span)) == ("E108", "main.crank:1:9")


def test_statements_cannot_be_hidden_from_the_reader():
    """ "Trojan Source": the remark seems to go on, or the statement to be part of it."""
    hidden = TRACK + "# \u202e\u2066 signal H shunt \u2069\u2066\nsignal H shows stop, clear\n"
    assert [d.code for d in bellcrank.compile(hidden).diagnostics] == ["E108"]


def test_writing_from_right_to_left_needs_none_of_them():
    text = 'layout "תחנה ראשית"\nrun edge מערב - A - >א1 - مسار - stop\n'
    assert checked(text).proved


def test_other_control_codes_have_a_code_of_their_own():
    (found,) = load_text('layout "Quay\x07"\n' + TRACK, "x")[1]
    assert found.code == "E106"
