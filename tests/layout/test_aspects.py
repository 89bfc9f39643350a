"""Aspects that light several lamps: how they are wired, and what cannot work."""

from __future__ import annotations

import pytest
from laid import laid

from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.layout_model import Aspect, LitLamp, OutputRef
from bellcrank.syntax.load import load_text

TRACK = """\
run edge WEST - A - >H - B - <J - C - edge EAST
decoder kind quad { outputs 4 }
decoder K quad at 1
decoder L quad at 11
"""


def lit(text: str) -> dict[str, list[str]]:
    """The lamps of each aspect of H, by its name."""
    return {
        aspect.name: [f"{lamp.output} {lamp.side}" for lamp in aspect.lamps]
        for aspect in laid(text).signals["H"].aspects
    }


def found(line: str, lamps: str = "alone") -> list[tuple[str, str, str]]:
    """What is said of a line: the code, the words that are marked, and what is expected."""
    text = TRACK.replace("outputs 4", f"outputs 4  lamps {lamps}") + line
    rows = text.split("\n")
    return [
        (d.code, rows[d.span.line - 1][d.span.column - 1 : d.span.end_column - 1], d.expected or "")
        for d in build_layout(load_text(text, "x")[0])[1]
    ]


# ------------------------------------------------------------------------ wired


def test_an_aspect_lights_several_lamps_and_each_may_blink() -> None:
    signal = laid(
        TRACK + "signal H shows stop at K.1 red, caution at K.1 green blinking and L.2 red"
    ).signals["H"]
    assert signal.aspects == (
        Aspect("stop", OutputRef("K", 1), "red"),
        Aspect(
            "caution",
            OutputRef("K", 1),
            "green",
            blinking=True,
            beside=(LitLamp(OutputRef("L", 2), "red"),),
        ),
    )


def test_a_lamp_may_be_lit_in_several_aspects() -> None:
    assert lit(
        TRACK
        + "signal H shows stop at K.1 red and K.2 red, caution at K.1 green and K.2 red, "
        + "clear at K.1 green and K.2 green"
    ) == {
        "stop": ["K.1 red", "K.2 red"],
        "caution": ["K.1 green", "K.2 red"],
        "clear": ["K.1 green", "K.2 green"],
    }


def test_what_the_most_permissive_aspect_needs_is_lit_last() -> None:
    line = "signal H shows stop at K.1 red, caution at K.1 green and K.2 red, clear at K.1 green"
    assert lit(TRACK + line)["caution"] == ["K.2 red", "K.1 green"]


def test_a_name_may_be_and() -> None:
    text = TRACK.replace("- C -", "- and -")
    assert lit(text + "signal H shows stop at K.1 red, and at K.1 green and K.2 red") == {
        "stop": ["K.1 red"],
        "and": ["K.1 green", "K.2 red"],
    }


@pytest.mark.parametrize(
    ("lamps", "clear"),
    [("alone", ["K.2 green", "K.2 red"]), ("paired", ["K.2 green", "K.3 red"])],
)
def test_of_a_kind_lamps_get_sides_that_can_be_lit_together(lamps: str, clear: list[str]) -> None:
    text = TRACK.replace("outputs 4", f"outputs 4  lamps {lamps}")
    line = "signal H shows stop at quad red, slow at quad green, clear at quad green and quad red"
    assert lit(text + line)["clear"] == clear


# ---------------------------------------------------------------- what cannot be


SAME = ("E322", "K.2 red and K.1 green", "other lamps for each aspect")


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        (
            "signal H shows stop at K.1 red, slow at K.1 green and K.2 red, "
            "clear at K.2 red and K.1 green",
            SAME,
        ),
        (
            "signal H shows stop at K.1 red, clear at K.1 green and K.1 green",
            ("E322", "K.1 green", "each lamp once"),
        ),
        (
            "signal H shows stop at K.1 red, clear at K.2 green and K.1 red blinking",
            (
                "E322",
                "K.1 red blinking",
                "`blinking` each time, or a side of its own for the one that blinks",
            ),
        ),
        (
            "signal H shows stop at K.1 red, clear at K.2 green and K.3 blue",
            ("E322", "blue", "`green` or `red`"),
        ),
        (
            "signal H shows stop at K.1 red, clear at K.2 green and K.9 red",
            ("E601", "9", "an output from 1 to 4"),
        ),
        (
            "signal J = K.2\nsignal H shows stop at K.1 red, clear at K.1 green and K.2 red",
            ("E602", "K.2", "an output that nothing else is wired to"),
        ),
    ],
)
def test_what_cannot_work_is_marked_where_it_stands(
    line: str, expected: tuple[str, str, str]
) -> None:
    assert found(line) == [expected]


TOGETHER = "signal H shows stop at K.1 red, clear at K.1 green and {}"


@pytest.mark.parametrize(
    ("lamps", "other", "advice"),
    [
        ("alone", "K.1 red", None),
        ("alone", "K.2 red", None),
        ("paired", "K.1 red", "for each lamp an output of its own"),
        ("paired", "K.2 red", None),
        ("grouped", "K.2 red", "for each lamp a decoder of its own"),
        ("grouped", "L.2 red", None),
    ],
)
def test_two_lamps_of_which_the_decoder_puts_one_out_cannot_be_lit_together(
    lamps: str, other: str, advice: str | None
) -> None:
    more = ", or a kind with `lamps alone` if both can be lit"
    expected = [] if advice is None else [("E322", other, advice + more)]
    assert found(TOGETHER.format(other), lamps) == expected


@pytest.mark.parametrize("lamps", ["paired", "grouped"])
def test_what_is_advised_for_lamps_that_cannot_be_lit_together_works(lamps: str) -> None:
    own = {"paired": "K.2 red", "grouped": "L.1 red"}[lamps]
    assert found(TOGETHER.format("K.1 red"), lamps) != []
    assert found(TOGETHER.format(own), lamps) == []
    assert found(TOGETHER.format("K.1 red"), "alone") == []
