"""What messages show, how many there are, and whom they name as nearest."""

from __future__ import annotations

import copy
import pickle
import time

import pytest

import bellcrank
from bellcrank.diagnostics import (
    MOST_MISTAKES,
    Collector,
    Instead,
    Span,
    TooManyMistakesError,
    nearest,
    printable,
)
from bellcrank.diagnostics.diagnostic import MOST_ALIKE
from bellcrank.syntax.load import MOST_LINES

TRACK = "run edge WEST - A - >H - B - edge EAST\n"


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\x1b[2J gone", r"\x1b[2J gone"),
        ("a\nb\tc\x85", r"a\nb\tc\x85"),
        ("\u202edesrever", r"\u202edesrever"),
        ("\udc80", r"\udc80"),
        ("200 ms – 5 °", "200 ms – 5 °"),
    ],
)
def test_what_a_terminal_would_obey_is_shown_as_an_escape(text: str, shown: str):
    assert printable(text) == shown


def test_of_very_many_names_the_nearest_is_still_found_and_soon():
    names = [f"{letter}{n}" for letter in "ABCDEFGHIJKLMNOPQRST" for n in range(5_000)]
    assert len(names) > 10 * MOST_ALIKE
    began = time.process_time()
    assert nearest("Q-4321", names) == "Q4321"
    assert nearest("x" * 100_000, names) is None
    assert time.process_time() - began < 2


def test_a_pass_ends_when_it_has_found_more_errors_than_anyone_reads():
    found = Collector(most=3)
    place = Span("x", 1, 1, 1, 2)
    found.report("W801", "a warning does not count", place)
    found.report("E201", "one", place)
    found.report("E201", "two", place)
    with pytest.raises(TooManyMistakesError):
        found.report("E201", "three", place)
    assert len(found.result()) == 4


@pytest.mark.parametrize(
    ("lines", "code"),
    [
        ("pionts P{0}\n", "E204"),
        ("signal X{0} shunt\n", "E201"),
        ("decoder K{0} quad{0} at 900000\n", "E201"),
        ("decoder kind k{0} {{ outputs 999 }}\n", "E608"),
        ("overlap X{0} = A\n", "E201"),
        ("route X{0} to WEST\n", "E401"),
        ("expect X{0} with Y{0}\n", "E501"),
    ],
)
def test_a_text_that_is_wrong_throughout_is_given_up_soon(lines: str, code: str):
    text = TRACK + "".join(lines.format(n) for n in range(1_000))
    result = bellcrank.compile(text)
    assert isinstance(result, bellcrank.Broken)
    assert {d.code for d in result.diagnostics} == {code}
    assert len(result.diagnostics) == MOST_MISTAKES


def test_a_text_of_a_million_lines_is_refused_unread():
    began = time.process_time()
    result = bellcrank.compile("points P\n" * 1_500_000)
    assert time.process_time() - began < 5
    (found,) = result.diagnostics
    assert (found.code, found.span.line) == ("E103", MOST_LINES)


@pytest.mark.parametrize("said", [None, "take it out"])
def test_a_hint_to_write_one_word_for_another_is_its_sentence_and_stays_so(said: str | None):
    hint = Instead("gren", "green", said)
    assert hint == (said or "did you mean `green`?")
    for again in (copy.deepcopy(hint), pickle.loads(pickle.dumps(hint))):
        assert (again, again.wrong, again.right) == (hint, "gren", "green")
