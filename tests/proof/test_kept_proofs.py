"""What was shown once is taken over where all that it was shown of is there again, and nowhere
else."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import islice
from pathlib import Path

import pytest
from fault_layouts import SMALL
from machine_faults import faults
from words_of_machines import Words, apart, false_after

from bellcrank.compilation import Sound, compile_file, compile_text
from bellcrank.machine.machine_model import Clause, Event, Is, Machine
from bellcrank.proof.kept.contents import Contents, numbers_of
from bellcrank.proof.kept.event_by_event import LastInduction
from bellcrank.proof.kept.kept_model import InMemory, Shown
from bellcrank.proof.kept.method import method
from bellcrank.proof.moving.moving_proof import Effort, prove_moving
from bellcrank.proof.verdict import MovingVerdict
from bellcrank.running.packed import Packed

EXAMPLES = Path(__file__).parents[2] / "examples"

LINE = """layout "Eel Fen" on three rails
points P1, P2
run edge WEST - A - >W1 - P1.toe
run P1.straight - <D1 - T1 - >E1 - P2.straight
run P1.diverging - <D2 - T2 - >E2 - P2.diverging
run P2.toe - <B1 - B - edge EAST
routes derive
locking derive
"""

PLAIN = """layout "Eel Fen" on three rails
run edge WEST - A - >W1 - B - C - >C1 - D - edge EAST
routes derive
locking derive
"""


def machine_of(text: str) -> Machine:
    compiled = compile_text(text)
    assert isinstance(compiled, Sound), compiled.diagnostics
    return compiled.machine


def proof(
    machine: Machine, kept: InMemory, induction: LastInduction | None = None
) -> MovingVerdict:
    verdict = prove_moving(machine, Effort(kept=kept, induction=induction))
    kept.settle()
    if induction is not None:
        induction.settle()
    return verdict


def outcomes(verdict: MovingVerdict) -> list[tuple[str, str]]:
    return [(result.name, result.outcome) for result in verdict.results]


def test_the_second_proof_of_a_machine_asks_the_solver_next_to_nothing() -> None:
    kept = InMemory()
    first, second = proof(machine_of(LINE), kept), proof(machine_of(LINE), kept)
    assert (first.kept, first.outcome, second.outcome) == (0, "proved", "proved")
    assert second.kept > 0.9 * second.obligations
    assert len(second.questions) < 0.1 * len(first.questions)


def test_a_comment_changes_nothing_and_a_longer_route_changes_little() -> None:
    kept = InMemory()
    proof(machine_of(LINE), kept)
    remark = proof(machine_of("# of the year 1911\n" + LINE), kept)
    longer = proof(machine_of(LINE.replace("T2", "T2 - T3")), kept)
    assert remark.kept > 0.9 * remark.obligations
    assert 0.2 * longer.obligations < longer.kept < remark.kept


def test_nothing_is_kept_of_what_does_not_hold() -> None:
    kept = InMemory()
    sound = machine_of(PLAIN)
    released = next(e for e in sound.events if e.kind == "section released")
    careless = replace(released, guard=released.guard[:1])
    events = tuple(careless if e is released else e for e in sound.events)
    faulty = replace(sound, events=events)
    assert [proof(faulty, kept).outcome for _ in range(2)] == ["refuted", "refuted"]
    assert proof(sound, kept).outcome == "proved"
    assert proof(faulty, kept).outcome == "refuted"


def test_every_part_of_an_event_and_of_a_variable_is_in_the_key_of_what_it_could_make_false() -> (
    None
):
    machine = machine_of(LINE)
    before = keys_of(machine)
    changed = 0
    for number, event in enumerate(machine.events):
        wider = [
            replace(event, guard=event.guard[:n] + event.guard[n + 1 :])
            for n in range(len(event.guard))
        ]
        wider += [
            replace(event, updates={v: b for v, b in event.updates.items() if v != name})
            for name in event.updates
        ]
        for other in wider[number % 8 :: 8]:
            events = (*machine.events[:number], other, *machine.events[number + 1 :])
            after = keys_of(replace(machine, events=events))
            for clause in before:
                if could_make_false(event, clause):
                    assert after[clause] != before[clause], (event.name, clause)
                    changed += 1
    variable = machine.variables["track T1"]
    for other in (
        replace(variable, values=(*variable.values, "more")),
        replace(variable, initial=variable.values),
    ):
        after = keys_of(replace(machine, variables={**machine.variables, "track T1": other}))
        for clause, key in before.items():
            assert (key != after[clause]) or all(v != "track T1" for v, _ in clause)
    assert changed > 100


def could_make_false(event: Event, clause: Clause) -> bool:
    """Whether an event takes a variable of a clause out of the values that it names."""
    for x in clause:
        allowed = x.values.intersection(
            *(g[0].values for g in event.guard if g[0][0] == x[0] and len(g) == 1)
        )
        becomes = event.updates.get(x.variable, {})
        if any(becomes.get(value, value) not in x.values for value in allowed):
            return True
    return False


def keys_of(machine: Machine) -> dict[Clause, bytes]:
    packed = Packed(machine)
    contents = Contents(packed, machine, "")
    clauses = [*(i.clause for i in machine.invariants), *machine.lemmas]
    return {
        clause: contents.asked(its).key for clause, its in zip(clauses, packed.clauses, strict=True)
    }


def test_a_proof_that_is_checked_again_takes_nothing_over() -> None:
    kept, machine = InMemory(), machine_of(PLAIN)
    proof(machine, kept)
    for effort in (Effort(recheck=True, kept=kept), Effort(own_names=True, kept=kept)):
        assert prove_moving(machine, effort).kept == 0


@pytest.mark.parametrize("name", ["single line", "overlap"])
def test_one_place_for_some_faults_gives_the_verdicts_of_fresh_proofs(name: str) -> None:
    of_all_faults_the_verdict_is_that_of_a_fresh_proof(name, one_in=20)


def test_nothing_is_spared_any_more_with_the_help_of_a_clause_that_is_lost_later() -> None:
    kept, machine = InMemory(), machine_of(SMALL["crossover"])
    proof(machine, kept)
    some = [f.machine for f in faults(machine) if f.what == "request HA to B2: PA"]
    assert some
    for faulty in some:
        assert outcomes(proof(faulty, kept)) == outcomes(prove_moving(faulty))


@pytest.mark.campaign
@pytest.mark.parametrize("name", sorted(SMALL))
def test_one_place_for_many_faults_gives_the_verdicts_of_fresh_proofs(name: str) -> None:
    of_all_faults_the_verdict_is_that_of_a_fresh_proof(name, one_in=9)


def of_all_faults_the_verdict_is_that_of_a_fresh_proof(name: str, one_in: int) -> None:
    kept, last, machine = InMemory(), LastInduction(), machine_of(SMALL[name])
    proof(machine, kept)
    taken = 0
    for fault in islice(faults(machine), 0, None, one_in):
        fresh, again = prove_moving(fault.machine), proof(fault.machine, kept)
        assert outcomes(again) == outcomes(fresh), fault.what
        taken += again.kept
        # Of which nothing is kept but what the last induction showed, of this fault or without.
        followed = proof(fault.machine, InMemory(), last)
        assert outcomes(followed) == outcomes(fresh), fault.what
        if fresh.outcome == "refuted":
            proof(machine, InMemory(), last)
    assert taken


# -------------------------------------------------- what is kept, decided by other means


def test_what_is_kept_of_a_clause_holds_of_each_event_for_another_solver() -> None:
    what_is_kept_holds_for_another_solver(machine_of(LINE), one_in=7)


@pytest.mark.campaign
@pytest.mark.parametrize("example", ["hand-worked-branch", "turning-loop"])
def test_what_is_kept_of_an_example_holds_for_another_solver(example: str) -> None:
    compiled = compile_file(EXAMPLES / f"{example}.crank")
    assert isinstance(compiled, Sound)
    what_is_kept_holds_for_another_solver(compiled.machine, one_in=1)


def what_is_kept_holds_for_another_solver(machine: Machine, one_in: int) -> None:
    """From the machine's own words, of all events whatever."""
    kept = InMemory()
    proof(machine, kept)
    clauses = [*(i.clause for i in machine.invariants), *machine.lemmas]
    checked = 0
    for clause, shown, helping in islice(kept_of(machine, clauses, kept), 0, None, one_in):
        solver = Words(machine)
        solver.add(clauses[number] for number in helping)
        if shown.in_any_state and not solver.possible(apart(clause, machine)):
            continue
        solver.add([clause])
        named = {literal.variable for literal in clause}
        for event in machine.events:
            if named & event.updates.keys():
                assert not solver.possible([*event.guard, *false_after(event, clause, machine)])
                checked += 1
        start = [(Is(v, frozenset(machine.variables[v].initial)),) for v in named]
        assert not Words(machine).possible([*start, *apart(clause, machine)])
    assert checked > 100


def kept_of(
    machine: Machine, clauses: list[Clause], kept: InMemory
) -> Iterator[tuple[Clause, Shown, list[int]]]:
    """What is kept of each clause, with the clauses that helped by their numbers."""
    packed = Packed(machine)
    contents = Contents(packed, machine, method())
    numbers = numbers_of(packed.clauses, contents)
    for clause, its in zip(clauses, packed.clauses, strict=True):
        key = contents.asked(its).key
        if (shown := kept.known([key]).get(key)) is not None:
            yield clause, shown, [numbers[digest] for digest in shown.helping]
