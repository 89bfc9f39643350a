"""Each assumption that is printed is needed, and with all of them nothing goes wrong.

On layouts that are proved the simulator plays with one assumption dropped, and something
unsafe is found; with all of them kept, nothing is.
"""

from __future__ import annotations

import random
from typing import get_args

import pytest
from element_simulator import Simulator
from element_state import Assumption
from machine_and_simulator import SAFETY, Twice, twice
from railway_play import play

from bellcrank.proof.moving.moving_proof import Effort, prove_moving

FORKED = """
points P
run edge WEST - A - A2 - >H - P.toe
run P.straight - N - M - <S1 - T1 - stop
run P.diverging - <S2 - T2 - stop
"""
GROUPED = FORKED + "section FIRST = A, A2\n"
IN_A_ROW = """
run edge WEST - A - >G - B - >H - C - >J - D - edge EAST
overlap H = C
"""
BOTH_WAYS = """
run edge WEST - A - >H - <U - B - <V - >K - C - edge EAST
overlap U = A
"""
UNWATCHED = FORKED.replace(">H - P.toe", "<U - >H - P.toe").replace("T2 - stop", "T2 - edge EAST")
UNWATCHED = UNWATCHED.replace("<S2 - ", "")
ONE_STARTER = """
points P1, P3
run edge WEST - A - >H - P1.toe
run P1.diverging - <S2 - T0 - stop
run P1.straight - <S1 - N - P3.toe
run P3.straight - T1 - stop
run P3.diverging - T2 - stop
"""

WITH_FLANK = """
points P
run edge WEST - A - >H - P.toe
run P.straight - <S1 - T1 - stop
run P.diverging - <S2 - T2 - stop
run edge EAST - B - >K - C - stop
flank K to C = P straight
"""

NEEDED: dict[str, tuple[str, str]] = {
    "signals obeyed": ("signals obeyed", FORKED),
    "route ended first": ("signals obeyed", FORKED),
    "points hold": ("points hold", FORKED),
    "in the time allowed": ("in the time allowed", FORKED),
    "put down before a signal": ("put on clear track", FORKED),
    "put down on clear track": ("put on clear track", GROUPED),
    "put down where nothing is held": ("put on clear track", FORKED),
    "put down outside overlaps": ("put on clear track", IN_A_ROW),
    "put down where nothing comes in": ("put on clear track", FORKED),
    "stand on clear track": ("put on clear track", FORKED),
    "stand where nothing is held": ("put on clear track", FORKED),
    "stand outside overlaps": ("put on clear track", IN_A_ROW),
    "stand where nothing comes in": ("put on clear track", FORKED),
    "stand while no points move": ("put on clear track", WITH_FLANK),
    "vehicles stand": ("vehicles stand", FORKED),
    "edges ask for clear track": ("edges ask first", FORKED),
    "edges ask for what is held": ("edges ask first", FORKED),
    "edges ask for overlaps": ("edges ask first", BOTH_WAYS),
    "edges watched": ("edges watched", UNWATCHED),
    "detection tells the truth": ("detection tells the truth", FORKED),
    "operator looks": ("the operator looks", 'layout "L" without detection\n' + FORKED),
    "drives arrive in time": ("drives arrive in time", FORKED),
    "no way back": ("no way back", ONE_STARTER),
}
"""For each assumption of the simulator the name under which it is printed, and a layout."""

CHANGES_NOTHING = {"one at a time from an edge"}
"""A train of which a part is outside is on the track up to the first signal with the rest, so
that this is not clear."""


def of(text: str) -> Twice:
    both = twice(text)
    assert both is not None
    return both


def violated(both: Twice, runs: int, dropped: str | None = None) -> set[str]:
    """The properties that random runs violate; after the first that does, no more are played."""
    parts = frozenset() if dropped is None else frozenset([dropped])
    simulator = Simulator(both.railway, parts, by_hand=both.by_hand)
    for seed in range(runs):
        found = play(simulator, random.Random(seed), 150, 1).wrong
        if found:
            return set(found)
    return set()


@pytest.mark.parametrize("dropped", NEEDED)
def test_without_an_assumption_something_unsafe_happens_where_all_is_proved(dropped: str) -> None:
    _, text = NEEDED[dropped]
    both = of(text)
    assert violated(both, 400, dropped) & {*SAFETY}


@pytest.mark.parametrize("text", sorted({text for _, text in NEEDED.values()}))
def test_with_all_assumptions_all_is_proved_and_nothing_unsafe_happens(text: str) -> None:
    both = of(text)
    outcomes = {r.name: r.outcome for r in prove_moving(both.machine, Effort()).results}
    assert {outcomes[name] for name in SAFETY} == {"proved"}
    assert violated(both, 12) == set()
    for dropped in CHANGES_NOTHING:
        assert violated(both, 12, dropped) == set()


def test_every_assumption_is_dropped_in_some_test() -> None:
    assert {*NEEDED} | CHANGES_NOTHING == {*get_args(Assumption)}


@pytest.mark.parametrize("dropped", [name for name in NEEDED if name != "no way back"])
def test_each_is_printed_for_the_layout_that_needs_it(dropped: str) -> None:
    printed, text = NEEDED[dropped]
    assert printed in of(text).machine.assumptions
