"""Mistakes in how drives are wired: where the caret stands and what is advised."""

from __future__ import annotations

import pytest

from bellcrank.diagnostics import Diagnostic
from bellcrank.layout.build_layout import build_layout
from bellcrank.syntax.load import load_text

TRACK = """\
points P1, P2
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - T1 - stop
run P1.diverging - P2.toe
run P2.straight - <S2 - T2 - stop
run P2.diverging - <S3 - T3 - stop
decoder kind quad { outputs 4 }
decoder kind heads { outputs 2  packets extended }
decoder K quad at 1
decoder E heads at 9
drive P2 by hand
"""


def said_of(line: str) -> tuple[Diagnostic, str]:
    """The one mistake in a line, and the words that the caret stands under."""
    text = TRACK + line + "\n"
    program, unread = load_text(text, "x")
    (said,) = (*unread, *build_layout(program)[1])
    row = text.split("\n")[said.span.line - 1]
    return said, row[said.span.column - 1 : said.span.end_column - 1]


@pytest.mark.parametrize(
    ("line", "words", "advice"),
    [
        ("drive P1 = K.1  coil 200 ms  held on", "coil 200 ms", "such as `motor 3 s  held on`"),
        (
            "drive P1 straight as 0, diverging as 1 = E.1  coil 200 ms",
            "coil 200 ms",
            "`motor` or `servo` and the time that it takes",
        ),
        (
            "drive P1 straight as 0, diverging as 1 = E.1  motor 2 s  crossed",
            "drive P1 straight as 0, diverging as 1 = E.1  motor 2 s  crossed",
            "other values for its positions, without `crossed`",
        ),
        (
            "drive P1 = E.1",
            "E.1",
            "a value for each position, such as `drive P1 straight as 0, diverging as 1 = E.1`, or "
            "an output of a kind with `packets basic`",
        ),
    ],
)
def test_the_words_that_are_wrong_are_shown_and_what_would_do(
    line: str, words: str, advice: str
) -> None:
    said, shown = said_of(line)
    assert (shown, said.expected) == (words, advice)


def test_the_line_that_is_advised_for_a_drive_on_values_is_right() -> None:
    text = TRACK + "drive P1 straight as 0, diverging as 1 = E.1\n"
    assert build_layout(load_text(text, "x")[0])[1] == ()


def test_one_side_for_two_positions_is_told_so() -> None:
    said, shown = said_of("drive P1 straight at K.1 green, diverging at K.1 green")
    assert (said.message, shown) == ("K.1 is used twice: for two things that P1 does", "K.1")


def test_what_hexadecimal_switches_would_show_is_told_in_hexadecimal() -> None:
    kind = "decoder kind hex { outputs 1  rotary 2 hexadecimal }\n"
    program, _ = load_text(f"{TRACK}drive P1 by hand\n{kind}decoder X hex at 257\n", "x")
    (said,) = build_layout(program)[1]
    assert "cannot set 257, which would be shown as 10" in said.message
    assert said.message.endswith("in hexadecimal")


def test_of_a_fitting_whose_kind_is_guessed_nothing_is_said_about_how_it_is_wired() -> None:
    """That it lacks a `drive` line may follow from its kind."""
    text = TRACK.replace("points P1, P2", "points P1\nturnout P2")
    text = text.replace("drive P2 by hand\n", "drive P1 = K.1  coil 200 ms\n")
    program, _ = load_text(text, "x")
    assert [d.code for d in build_layout(program)[1]] == ["E204"]
