"""Reports as lines of text: what each means, what is passed over, and what is the alarm."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sound_layouts import compiled

from bellcrank.live.decisions import Heard
from bellcrank.live.line_words import PLAIN, LineWords, Pattern, PatternError, read_pattern
from bellcrank.live.panel import PanelButtons
from bellcrank.routes.route_naming import by_start

YARD = compiled("""
layout "Reedham Yard" on two rails
points P, Q
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - Q.toe
run Q.straight - <D - C - stop
run Q.diverging - <E - F - stop
detector kind eight { inputs 8 }
detector D1 eight at 17
report A = D1.1
report P = D1.2
report Q = D1.3
report B = D1.4
report C = D1.5
report F = "yard/f" opens
report P straight = D1.6
report Q straight = D1.7
report Q diverging = D1.8
detector D2 eight at 33
button W = D2.1
button B = D2.2
button to cancel W = D2.3
""")

SET: set[str] = set()


def words(pattern: Pattern = PLAIN) -> LineWords:
    starts = {s: [r.name for r in rs] for s, rs in by_start(YARD.table.routes.values()).items()}
    buttons = PanelButtons(YARD.table.panel, starts, SET.__contains__)
    return LineWords(YARD.layout, YARD.table, buttons, pattern, "line")


@pytest.mark.parametrize(
    ("line", "means"),
    [
        ("A occupied", Heard("occupied", "A", "", "line")),
        ("  A   clear\r", Heard("clear", "A", "", "line")),
        ("17 on", Heard("occupied", "A", "", "line")),
        ("D1.4 off", Heard("clear", "B", "", "line")),
        ('"yard/f" on', Heard("clear", "F", "", "line")),  # it opens
        ('"yard/f" off', Heard("occupied", "F", "", "line")),
        ("P lies diverging", Heard("lies", "P", "diverging", "line")),
        ("P lies nowhere", Heard("nowhere", "P", "", "line")),
        ("22 on", Heard("lies", "P", "straight", "line")),
        ("22 off", Heard("lies", "P", "diverging", "line")),  # its only contact
        ("24 on", Heard("lies", "Q", "diverging", "line")),
        ("24 off", Heard("nowhere", "Q", "diverging", "line")),
    ],
)
def test_what_a_line_means(line: str, means: Heard) -> None:
    assert words().read(line) == [means]


@pytest.mark.parametrize("line", ["", "ok", "> ready", "temperature 31", "100 percent", "\x00\xff"])
def test_what_is_about_something_else_is_passed_over(line: str) -> None:
    assert words().read(line) == []


@pytest.mark.parametrize(
    "line", ["A occxpied", "P lies sideways", "17", "99 on", "Z occupied", "A lies straight"]
)
def test_what_begins_like_a_report_and_has_no_meaning_is_not_understood(line: str) -> None:
    assert words().read(line) == [Heard("not understood", value=line, who="line")]


def test_two_buttons_ask_for_the_route_between_them_and_one_cancels() -> None:
    read = words().read
    assert read("33 on") == [] and read("33 off") == []
    assert read("34 on") == [Heard("request", "W to B", who="line")]
    SET.add("W to B")
    assert read("35 on") == [Heard("cancel", "W to B", who="line")]
    SET.clear()
    assert read("35 on") == []


def test_a_pattern_of_ones_own() -> None:
    read = words(read_pattern("S {input} {state}")).read
    assert read("S 17 1") == [Heard("occupied", "A", "", "line")]
    assert read("S 17  0") == [Heard("clear", "A", "", "line")]
    assert read("17 on")[0].kind == "not understood"
    read = words(read_pattern("[{section}={state}]", on="X", off="-")).read
    assert read("[B=X]") == [Heard("occupied", "B", "", "line")]
    assert read("[B=-]") == [Heard("clear", "B", "", "line")]
    assert read("[B=1]")[0].kind == "not understood"


@pytest.mark.parametrize(
    ("pattern", "wrong"),
    [
        ("S {input}", "must hold"),
        ("{state}", "must hold"),
        ("{input} {section} {state}", "must hold"),
        ("{number} {state}", "stands for nothing"),
        ("{input} {input} {state}", "stands twice"),
    ],
)
def test_a_pattern_that_no_line_can_have(pattern: str, wrong: str) -> None:
    with pytest.raises(PatternError, match=wrong):
        read_pattern(pattern)


@given(st.text(max_size=60))
def test_no_line_breaks_it(line: str) -> None:
    for heard in words().read(line):
        assert heard.who == "line"
