"""What a controller does in a station is asked anew only where that is not like the one before."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from random import Random

import pytest
from test_recurring import FAMILIES, always, clauses_of, line
from words_of_machines import Words, apart

import bellcrank
from bellcrank.controller.following import Following, following
from bellcrank.proof.moving.findings import Findings
from bellcrank.proof.moving.induction import Prover
from bellcrank.proof.moving.moving_proof import Effort, Moving, Shown, TakenOver, prove_and_keep

AskedOf = dict[tuple[int, int], list[int]]
"""What was taken over of clauses before events: what helped, by event and clause."""

__all__ = ["always"]


@pytest.fixture
def taken(always: None, monkeypatch: pytest.MonkeyPatch) -> AskedOf:
    """What was taken over last."""
    found: AskedOf = {}
    take_over_at = Findings.take_over_at

    def noted(self: Findings, event: int, goal: int, helping: Sequence[int]) -> None:
        found[event, goal] = list(helping)
        take_over_at(self, event, goal, helping)

    monkeypatch.setattr(Findings, "take_over_at", noted)
    return found


def no_one(_: str) -> None:
    """Who is told what is being done."""


def followed_along(family: str) -> tuple[bellcrank.Sound, Following, Shown]:
    of = line(family)
    _, known = prove_and_keep(of.machine, Effort())
    found = following(of.control, of.composed, of.machine)
    assert found is not None
    return of, found, known


def so_by_its_own_words(family: str, taken: AskedOf, one_in: int) -> int:
    """How much of what was taken over a SAT solver has decided."""
    _, found, known = followed_along(family)
    moving = Moving(found.machine, Effort(), no_one, TakenOver(known, found.asked))
    assert moving.verdict().outcome == "proved"
    assert moving.followed()
    asked = sum(map(len, moving.premises.values()))
    assert asked / 2 < len(taken) < asked
    clauses, held = clauses_of(found.machine), moving.induction.held
    named = {moving.packed.clause(c): c for asked in found.asked.values() for c in asked}
    decided = 0
    for (event, goal), helping in [*taken.items()][::one_in]:
        assert all(held[number] for number in helping)
        clause = named[moving.further[goal - len(clauses)]]
        assert goal in moving.premises[event]
        solver = Words(found.machine)
        solver.add(clauses[number] for number in helping)
        guard = found.machine.events[event].guard
        assert not solver.possible([*guard, *apart(clause, found.machine)])
        decided += 1
    return decided


def test_what_is_taken_over_before_events_is_so_by_its_own_words(taken: AskedOf) -> None:
    assert so_by_its_own_words("passing loops", taken, 40) > 10


@pytest.mark.campaign
@pytest.mark.parametrize("family", FAMILIES)
def test_so_it_is_on_any_line(family: str, taken: AskedOf) -> None:
    assert so_by_its_own_words(family, taken, 30) > 20


def followed(found: Following, known: Shown) -> bool:
    moving = Moving(found.machine, Effort(), no_one, TakenOver(known, found.asked))
    moving.verdict()
    return moving.followed()


def not_followed(family: str, seeds: Iterable[int]) -> int:
    """How often a reaction of one station that asks one thing less does not follow; that is found
    as without taking over."""
    _, found, known = followed_along(family)
    count = 0
    for seed in seeds:
        random = Random(seed)
        number = random.choice([*found.asked])
        events = list(found.machine.events)
        guard = events[number].guard
        left = random.randrange(len(guard))
        weaker = replace(events[number], guard=guard[:left] + guard[left + 1 :])
        events[number] = weaker
        faulty = Following(replace(found.machine, events=tuple(events)), found.asked)
        along = followed(faulty, known)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(Prover, "_line", lambda self: None)
            by_itself = followed(faulty, known)
        assert along == by_itself, seed
        count += not along
    return count


@pytest.mark.campaign
@pytest.mark.parametrize("first", range(100, 124, 6))
def test_reactions_that_ask_less_are_found_as_without(always: None, first: int) -> None:
    assert not_followed("passing loops", range(first, first + 6))
