"""What is taken over of an event that is otherwise than it was is so, says another solver."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from words_of_machines import Words, apart, false_after

from bellcrank.compilation import Sound, compile_text
from bellcrank.machine.machine_model import Invariant, Is, Machine, Variable
from bellcrank.proof.kept.contents import Contents, numbers_of
from bellcrank.proof.kept.event_by_event import Following, LastInduction
from bellcrank.proof.kept.kept_model import InMemory
from bellcrank.proof.moving.findings import IN_ANY_STATE
from bellcrank.proof.moving.moving_proof import Effort, prove_moving
from bellcrank.running.packed import Packed

STATION = Path(__file__).parents[2] / "examples" / "four-track-station.crank"

LOOP = """layout "Eel Fen" on three rails
points P1, P2
run edge WEST - A - >W1 - P1.toe
run P1.straight - <D1 - T1 - >E1 - P2.straight
run P1.diverging - <D2 - T2 - >E2 - P2.diverging
run P2.toe - <B1 - B - edge EAST
overlap W1 = P1
routes derive
locking derive
"""

LONGER = LOOP.replace("<D2 - T2", "<D2 - X - T2")
WITHOUT = LOOP.replace("overlap W1 = P1\n", "")


def machine_of(text: str) -> Machine:
    compiled = compile_text(text)
    assert isinstance(compiled, Sound), compiled.diagnostics
    return compiled.machine


def after_proof_of(machine: Machine, last: LastInduction) -> LastInduction:
    prove_moving(machine, Effort(kept=InMemory(), induction=last))
    last.settle()
    return last


def what_is_taken_over_is_so(last: LastInduction, machine: Machine, one_in: int) -> Counter[str]:
    """Each of some obligations that are taken over, from the machine's own words: how many."""
    packed = Packed(machine)
    contents = Contents(packed, machine, "")
    numbers = numbers_of(packed.clauses, contents)
    assert last.shown is not None
    events = contents.event_of
    following = Following(last.shown, contents.said, events, numbers, packed.stated)
    clauses = [*(i.clause for i in machine.invariants), *machine.lemmas]
    chance, found = random.Random(1), Counter[str]()
    standing = [True] * len(clauses)
    for goal, (clause, its) in enumerate(zip(clauses, packed.clauses, strict=True)):
        known, _ = following.known(goal, its, contents.clause(its), standing)
        for event, helping in known.items():
            if chance.randrange(one_in):
                continue
            said = Words(machine)
            said.add(clauses[number] for number in helping)
            if event == IN_ANY_STATE:
                assert not said.possible(apart(clause, machine))
                found["in any state"] += 1
                continue
            happens = machine.events[event]
            after = false_after(happens, clause, machine)
            assert not said.possible([*happens.guard, *after]), (happens.name, clause)
            found["at an event"] += 1
    for event, (helping, _) in following.never.items():
        said = Words(machine)
        said.add(clauses[number] for number in helping)
        assert not said.possible(machine.events[event].guard)
        found["never"] += 1
    return found


@pytest.mark.parametrize("before, now", [(LOOP, LONGER), (LONGER, LOOP), (LOOP, WITHOUT)])
def test_what_is_taken_over_after_a_change_holds_for_another_solver(before: str, now: str) -> None:
    last = after_proof_of(machine_of(before), LastInduction())
    found = what_is_taken_over_is_so(last, machine_of(now), one_in=20)
    assert found["at an event"] > 20
    assert found["never"] > 5


def test_what_was_taken_over_can_be_taken_over_again() -> None:
    last = LastInduction()
    for text in (LOOP, LONGER, WITHOUT):
        after_proof_of(machine_of(text), last)
    found = what_is_taken_over_is_so(last, machine_of(LOOP), one_in=20)
    assert found["at an event"] > 20


@pytest.mark.campaign
def test_so_it_is_on_the_station() -> None:
    text = STATION.read_text("utf-8")
    texts = [
        text,
        text.replace(" - T3", " - ONE_MORE - T3"),
        text.replace("overlap H1 = PA", "overlap H1 = PA, PC"),
        text.replace("flank derive\n", ""),
        text.replace("route CALL", "# route CALL").replace(", call at K3.2 red", ""),
    ]
    last = LastInduction()
    for before, now in pairwise(texts):
        after_proof_of(machine_of(before), last)
        found = what_is_taken_over_is_so(last, machine_of(now), one_in=300)
        assert found["at an event"] > 30


def test_of_a_new_clause_the_start_has_to_be_shown() -> None:
    machine = machine_of(LOOP)
    last = after_proof_of(machine, LastInduction())
    # Nothing puts it out but what never happens; and yet it is not lit at the start.
    lamp = Variable("lamp", "lamp", "lamp", ("out", "lit"), ("out",))
    lit = Invariant("lit", (Is("lamp", frozenset(["lit"])),), "the lamp is out")
    puts_out = {"lamp": {"lit": "out"}}
    faulty = replace(
        machine,
        variables={**machine.variables, "lamp": lamp},
        events=tuple(
            replace(e, updates={**e.updates, **puts_out}) if e.kind == "derails" else e
            for e in machine.events
        ),
        invariants=(*machine.invariants, lit),
    )
    effort = Effort(kept=InMemory(), induction=last, search=0)
    outcomes = {r.name: r.outcome for r in prove_moving(faulty, effort).results}
    assert (outcomes["lit"] != "proved", outcomes["derailments"]) == (True, "proved")


def test_a_longer_route_costs_less_after_the_last_induction() -> None:
    last = after_proof_of(machine_of(LOOP), LastInduction())
    alone = prove_moving(machine_of(LONGER), Effort(kept=InMemory()))
    followed = prove_moving(machine_of(LONGER), Effort(kept=InMemory(), induction=last))
    assert (alone.outcome, followed.outcome) == ("proved", "proved")
    assert (alone.kept, followed.kept > 0.5 * followed.obligations) == (0, True)
