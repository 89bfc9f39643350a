"""How a layout stands by all its records."""

from __future__ import annotations

from sound_layouts import compiled

from bellcrank.commission import tested
from bellcrank.commission.commission_checklist import checklist_of
from bellcrank.commission.history import Session, standings

YARD = """
points P
run edge WEST - A - >W - P.toe
run P.straight - B - stop
run P.diverging - C - stop
decoder kind quad { outputs 4  switches 9 }
decoder K1 quad at 1
drive P = K1.1
signal W = K1.2
"""


def found_right(text: str, on: str) -> dict[str, tested.Tested]:
    """All checks of a layout as they are found right on a day."""
    c = compiled(text)
    checks = tested.checks_now(checklist_of(c.layout, c.table, c.commands), c.layout)
    return {each.name: each._replace(on=on) for each in checks}


def states(text: str, *sessions: Session) -> dict[str, tuple[str, str]]:
    c = compiled(text)
    found = standings(sessions, checklist_of(c.layout, c.table, c.commands), c.layout)
    return {standing.name: (standing.state, standing.on) for standing in found}


def test_without_a_record_nothing_was_ever_tested() -> None:
    assert set(states(YARD).values()) == {("never tested", "")}


def test_what_was_found_right_is_right_until_its_wires_are_others() -> None:
    may = Session("2026-05-01", frozenset(), [*found_right(YARD, "2026-05-01").values()])
    assert set(states(YARD, may).values()) == {("right", "2026-05-01")}
    rewired = states(YARD.replace("P = K1.1", "P = K1.3"), may)
    assert rewired["P"] == ("changed since", "2026-05-01")
    assert rewired["W"] == ("right", "2026-05-01")
    assert rewired["W to B"] == ("changed since", "2026-05-01")


def test_what_is_found_wrong_later_is_wrong_until_it_is_found_right_again() -> None:
    in_may, in_july = found_right(YARD, "2026-05-01"), found_right(YARD, "2026-07-01")
    may = Session("2026-05-01", frozenset(), [in_may["P"], in_may["W"]])
    june = Session("2026-06-01", frozenset({("drive", "P")}), [])
    assert states(YARD, may, june)["P"] == ("wrong", "2026-06-01")
    assert states(YARD, may, june)["W"] == ("right", "2026-05-01")
    still = Session("2026-06-15", frozenset(), [in_may["W"]])
    assert states(YARD, may, june, still)["P"] == ("wrong", "2026-06-01")
    july = Session("2026-07-01", frozenset(), [in_july["P"]])
    assert states(YARD, may, june, july)["P"] == ("right", "2026-07-01")


def test_a_layout_that_is_as_it_was_again_counts_as_it_was_tested() -> None:
    rewired = YARD.replace("P = K1.1", "P = K1.3")
    may = Session("2026-05-01", frozenset(), [found_right(YARD, "2026-05-01")["P"]])
    june = Session("2026-06-01", frozenset(), [found_right(rewired, "2026-06-01")["P"]])
    assert states(YARD, may, june)["P"] == ("right", "2026-05-01")
    assert states(rewired, may, june)["P"] == ("right", "2026-06-01")
