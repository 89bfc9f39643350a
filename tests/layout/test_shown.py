"""Bridges, platforms and notes: names that are right, and no bridge that contradicts another."""

from __future__ import annotations

import pytest
from laid import laid

from bellcrank.diagnostics import Diagnostic
from bellcrank.layout.build_layout import build_layout
from bellcrank.syntax.load import load_text

LOOP = """\
points P1, P2
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - T1 - >E1 - P2.straight
run P1.diverging - <S2 - T2 - >E2 - P2.diverging
run P2.toe - <J - B - edge EAST
"""


def wrong(text: str) -> tuple[Diagnostic, ...]:
    program, unread = load_text(LOOP + text, "layout.crank")
    assert unread == ()
    return build_layout(program)[1]


def test_a_bridge_leads_over_each_line_that_is_named() -> None:
    bridges = laid(LOOP + "bridge A over T1, P2, EAST\n").shown.bridges
    assert [(b.upper, b.lower) for b in bridges] == [("A", "T1"), ("A", "P2"), ("A", "EAST")]


def test_a_platform_has_a_label_and_lies_beside_pieces_of_track() -> None:
    (platform,) = laid(LOOP + 'platform "2 and 3" beside T1, T2\n').shown.platforms
    assert (platform.label, platform.where, platform.pieces) == ("2 and 3", "beside", ("T1", "T2"))


def test_a_note_stands_beside_something_or_below_the_whole() -> None:
    shown = laid(LOOP + 'note "Coal" below P1, S1, EAST\nnote "Closed in winter"\n').shown
    (note,) = shown.notes
    assert (note.text, note.where, note.of) == ("Coal", "below", ("P1", "S1", "EAST"))
    assert shown.remarks == ("Closed in winter",)


def test_a_platform_is_not_beside_points() -> None:
    (found,) = wrong('platform "1" above P1\n')
    assert found.code == "E201"
    assert found.message == "`P1` is a fitting, not a piece of track"


def test_a_misspelt_name_is_told_with_one_that_is_like_it() -> None:
    (found,) = wrong('note "Coal" beside WESST\n')
    assert (found.code, found.hint) == ("E201", "did you mean `WEST`?")


def test_a_bridge_over_a_signal_is_none() -> None:
    (found,) = wrong("bridge A over S1\n")
    assert found.message == "`S1` is a signal, not a piece, fitting or edge"


def test_no_track_passes_over_itself() -> None:
    (found,) = wrong("bridge A over A\n")
    assert (found.code, found.message) == ("E332", "A does not pass over itself")
    assert (found.span.line, found.span.column) == (6, 15)


def test_two_tracks_do_not_each_pass_over_the_other() -> None:
    (found,) = wrong("bridge T1 over T2\nbridge T2 over T1\n")
    assert found.code == "E332"
    assert found.related[0][0].line == 6


@pytest.mark.parametrize("word", ["bridge", "platform", "note"])
def test_the_words_that_lead_these_lines_may_be_names(word: str) -> None:
    layout = laid(LOOP.replace("T1", word) + f'platform "1" above {word}\n')
    assert word in layout.elements
    assert layout.shown.platforms[0].pieces == (word,)
