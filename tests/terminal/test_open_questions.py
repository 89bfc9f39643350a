"""What is undecided is told with its reason and with what helps."""

from __future__ import annotations

from dataclasses import replace

from sound_layouts import checked

from bellcrank import Checked
from bellcrank.terminal.open_questions import why_undecided

JUNCTION = """
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - B - stop
run P1.diverging - <S2 - C - stop
"""

WRITTEN = """
locking written {
  every route needs its positions
  every route needs its sections clear
  every drive needs its section clear
  only one route over each of A, P1, B, C
}
"""


def with_meetings(outcome: str, c: Checked, *, states: int = 60_001) -> Checked:
    """The same layout, had the proof of that property ended otherwise."""
    first, *rest = c.moving.results
    assert first.name == "meetings"
    moving = replace(c.moving, results=(replace(first, outcome=outcome), *rest), states=states)
    return replace(c, moving=moving)


def said(c: Checked) -> str:
    return " ".join(why_undecided(c))


def test_nothing_is_said_of_what_is_proved() -> None:
    assert said(checked(JUNCTION)) == ""


def test_derived_locking_that_is_undecided_is_to_be_divided() -> None:
    text = said(with_meetings("undecided", checked(JUNCTION)))
    assert text.startswith("1 line above is undecided: neither a proof nor a run of events")
    assert "60,001 states of trains, drives and routes were looked at" in text
    assert "with an `edge` there" in text


def test_written_locking_that_is_undecided_wants_rules_for_every_route() -> None:
    c = checked(JUNCTION + WRITTEN)
    assert c.proved
    assert "`only one route over …`" in said(with_meetings("undecided", c))


def test_beside_what_is_refuted_that_is_to_be_mended_first() -> None:
    c = with_meetings("undecided", checked(JUNCTION))
    refuted = replace(c.moving.results[1], outcome="refuted")
    c = replace(c, moving=replace(c.moving, results=(c.moving.results[0], refuted)))
    assert "Mend what is refuted first" in said(c)


def test_states_that_nobody_looked_at_are_not_told() -> None:
    assert "states" not in said(with_meetings("undecided", checked(JUNCTION), states=0))
