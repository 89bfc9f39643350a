"""A proof that was revised is one: what it says was shown is inductive, says another solver."""

from __future__ import annotations

import os
import random
import re

import pytest
from changed_layouts import CHANGES
from random_railways import random_railway
from words_of_machines import Words, apart, false_after

from bellcrank.compilation import Sound, compile_text
from bellcrank.machine.build_machine import build_machine
from bellcrank.machine.machine_model import Clause, Is, Machine
from bellcrank.machine.sharing import Shared
from bellcrank.proof.kept.kept_model import InMemory
from bellcrank.proof.kept.revising import LastProof, Remembered
from bellcrank.proof.moving.moving_proof import Effort, Moving, prove_moving
from bellcrank.proof.verdict import MovingVerdict

MANY = int(os.environ.get("BELLCRANK_REVISED", "60"))


def small() -> LastProof:
    """Remembers the proof of any machine, and revises it whatever has changed."""
    return LastProof(least=0, most=1.0)


NOTEBOOK = """layout "Eel Fen" on three rails
points P1
run edge WEST - A - >W1 - P1.toe
run P1.straight - <D1 - T1 - stop
run P1.diverging - <D2 - T2 - stop
route IN1 = W1 to T1
route IN2 = W1 to T2
route OUT1 = D1 to WEST
route OUT2 = D2 to WEST
locking written {
  every route needs its positions
  every route needs its sections clear
  IN1 locks IN2
  IN1 locks OUT1
  IN1 locks OUT2
  IN2 locks OUT1
  IN2 locks OUT2
  OUT1 locks OUT2
}
"""


class Desk:
    """Proves one layout after the other and remembers, as the process beside an editor does."""

    def __init__(self) -> None:
        self.proof, self.shared, self.kept = small(), Shared(), InMemory()

    def machine_of(self, text: str) -> Machine:
        compiled = compile_text(text)
        assert isinstance(compiled, Sound), compiled.diagnostics
        of = compiled.railway
        machine = build_machine(of.layout, of.table, of.locking, self.shared)
        assert machine == compiled.machine  # whatever it shares with those before it
        return machine

    def proves(self, machine: Machine) -> tuple[MovingVerdict, bool]:
        """The verdict, and whether it is of the last proof, revised."""
        moving = Moving(machine, Effort(kept=self.kept, proof=self.proof), lambda _: None)
        verdict = moving.verdict()
        self.proof.settle()
        return verdict, moving.of_part is not None


def shown(last: Remembered | None) -> list[Clause]:
    assert last is not None
    return [last.clauses[number] for number in last.helping]


def is_inductive(machine: Machine, clauses: list[Clause]) -> None:
    """All clauses together, from the machine's own words."""
    said = Words(machine)
    said.add(clauses)
    for clause in clauses:
        named = {literal.variable for literal in clause}
        start = [(Is(v, frozenset(machine.variables[v].initial)),) for v in named]
        assert not Words(machine).possible([*start, *apart(clause, machine)])
        for event in machine.events:
            if named & event.updates.keys():
                after = false_after(event, clause, machine)
                assert not said.possible([*event.guard, *after]), (event.name, clause)


@pytest.mark.parametrize("change", CHANGES)
def test_what_a_revised_proof_shows_is_inductive(change: str) -> None:
    before, after = CHANGES[change]
    desk = Desk()
    assert desk.proves(desk.machine_of(before))[0].outcome == "proved"
    machine = desk.machine_of(after)
    verdict, revised = desk.proves(machine)
    assert (verdict.outcome, revised) == ("proved", True)
    remembered = desk.proof.remembered
    assert remembered is not None
    assert remembered.machine is machine
    stated = {i.clause for i in machine.invariants}
    clauses = shown(remembered)
    assert stated <= set(clauses)
    is_inductive(machine, clauses)


def test_of_a_change_that_is_unsafe_the_verdict_is_that_of_a_fresh_proof() -> None:
    desk = Desk()
    first, _ = desk.proves(desk.machine_of(NOTEBOOK))
    assert first.outcome == "proved"
    machine = desk.machine_of(NOTEBOOK.replace("  IN1 locks OUT1\n", ""))
    verdict, revised = desk.proves(machine)
    assert (verdict.outcome, revised) == ("refuted", False)
    fresh = prove_moving(machine)
    assert [(r.name, r.outcome) for r in verdict.results] == [
        (r.name, r.outcome) for r in fresh.results
    ]
    # What is remembered is the proof before it, and what is put right is soon proved.
    verdict, revised = desk.proves(desk.machine_of(NOTEBOOK))
    assert (verdict.outcome, revised) == ("proved", True)


def test_a_layout_that_was_given_up_before_it_was_proved_leaves_the_proof_before_it() -> None:
    before, after = CHANGES["a route more"]
    desk = Desk()
    desk.proves(desk.machine_of(before))
    desk.machine_of(after)
    machine = desk.machine_of(before)
    verdict, revised = desk.proves(machine)
    assert (verdict.outcome, revised) == ("proved", True)
    assert verdict.obligations == verdict.kept > 0


@pytest.mark.campaign
@pytest.mark.parametrize("part", range(4))
def test_so_it_is_after_changes_of_railways_that_nobody_made_for_it(part: int) -> None:
    revised = 0
    for seed in range(part, MANY, 4):
        text, chance, desk = random_railway(seed), random.Random(seed), Desk()
        at = chance.choice([m.start() for m in re.finditer(" - [A-Z<>]", text)])
        both = [text, f"{text[:at]} - ONE_MORE{text[at:]}"]
        chance.shuffle(both)
        if not all(isinstance(compile_text(t), Sound) for t in both):
            continue
        if desk.proves(desk.machine_of(both[0]))[0].outcome != "proved":
            continue
        machine = desk.machine_of(both[1])
        verdict, so = desk.proves(machine)
        fresh = prove_moving(machine, Effort(seconds=5, search=1_000))
        assert verdict.outcome == fresh.outcome, seed
        if so:
            is_inductive(machine, shown(desk.proof.remembered))
        revised += so
    assert revised > 1
