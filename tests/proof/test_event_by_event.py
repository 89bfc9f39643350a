"""What is taken over of an event that is otherwise than it was is so, says another solver."""

from __future__ import annotations

import random
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest
from changed_layouts import CHANGES, LONGER, LOOP, WITHOUT
from random_railways import random_railway
from words_of_machines import Words, apart, false_after

from bellcrank.compilation import Sound, compile_text
from bellcrank.machine.machine_model import Clause, Invariant, Is, Machine, Variable
from bellcrank.proof.kept.contents import Contents
from bellcrank.proof.kept.event_by_event import Following, LastInduction, Taken
from bellcrank.proof.kept.kept_model import InMemory
from bellcrank.proof.moving.clauses_in_play import ClausesInPlay
from bellcrank.proof.moving.findings import IN_ANY_STATE
from bellcrank.proof.moving.moving_proof import Effort, prove_moving
from bellcrank.running.packed import Packed

STATION = Path(__file__).parents[2] / "examples" / "four-track-station.crank"


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
    assert last.shown is not None
    in_play = ClausesInPlay(len(packed.full), packed.clauses, packed.stated)
    following = Following(last.shown, contents.variables, contents.said, contents.event_of, in_play)
    clauses = [*(i.clause for i in machine.invariants), *machine.lemmas]
    chance, found = random.Random(1), Counter[str]()
    for goal, (clause, its) in enumerate(zip(clauses, packed.clauses, strict=True)):
        taken = following.wholly(goal, its, contents.threats)
        if taken is not None and not chance.randrange(one_in):
            all_of_it_is_so(clause, machine, [clauses[n] for n in taken.helping], taken)
            found["wholly"] += 1
        known, _ = following.known(goal)
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


def all_of_it_is_so(
    clause: Clause, machine: Machine, helping: Sequence[Clause], taken: Taken
) -> None:
    """A clause is true at the start, and no event of all makes it false."""
    said = Words(machine)
    said.add(helping)
    if taken.in_any_state:
        assert not said.possible(apart(clause, machine))
        return
    said.add([clause])
    named = {literal.variable for literal in clause}
    for event in machine.events:
        if named & event.updates.keys():
            after = false_after(event, clause, machine)
            assert not said.possible([*event.guard, *after]), (event.name, clause)
    start = [(Is(v, frozenset(machine.variables[v].initial)),) for v in named]
    assert not Words(machine).possible([*start, *apart(clause, machine)])


@pytest.mark.parametrize("change", CHANGES)
def test_what_is_taken_over_after_a_change_holds_for_another_solver(change: str) -> None:
    before, now = CHANGES[change]
    last = after_proof_of(machine_of(before), LastInduction())
    found = what_is_taken_over_is_so(last, machine_of(now), one_in=20)
    assert found["at an event"] > 20
    assert found["wholly"] > 3
    assert found["never"] > 5


@pytest.mark.campaign
@pytest.mark.parametrize("part", range(2))
def test_so_it_is_after_changes_of_railways_that_nobody_made_for_it(part: int) -> None:
    found, pairs = Counter[str](), 0
    for seed in range(part, 50, 2):
        text, chance = random_railway(seed), random.Random(seed)
        at = chance.choice([m.start() for m in re.finditer(" - [A-Z<>]", text)])
        both = [compile_text(t) for t in (text, f"{text[:at]} - ONE_MORE{text[at:]}")]
        machines = [c.machine for c in both if isinstance(c, Sound)]
        if len(machines) < 2 or not all(is_soon_proved(machine) for machine in machines):
            continue
        chance.shuffle(machines)
        last = after_proof_of(machines[0], LastInduction())
        found += what_is_taken_over_is_so(last, machines[1], one_in=100)
        again = prove_moving(machines[1], Effort(kept=InMemory(), induction=last))
        assert again.outcome == "proved", seed
        pairs += 1
    assert pairs > 3
    assert min(found["wholly"], found["at an event"]) > 10


def is_soon_proved(machine: Machine) -> bool:
    return prove_moving(machine, Effort(seconds=2, search=1_000)).outcome == "proved"


def test_of_a_clause_of_which_only_a_part_was_shown_the_rest_is_asked() -> None:
    """What is known by its key stands in no induction: its events are not all known."""
    kept, machine = InMemory(), machine_of(LOOP)
    prove_moving(machine, Effort(kept=kept))
    kept.settle()
    last = LastInduction()
    prove_moving(machine, Effort(kept=kept, induction=last))
    last.settle()
    assert last.shown is not None
    threats = Contents(Packed(machine), machine, "").threats
    some = [
        goal
        for goal, at in last.shown.at.items()
        if not at.keys() >= threats(last.shown.clauses[goal])
    ]
    assert some
    assert not [
        goal
        for goal in some
        if goal in last.shown.wholly and IN_ANY_STATE not in last.shown.at[goal]
    ]


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
