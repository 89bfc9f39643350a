"""What was shown of one station of a line is taken over for the next where all is alike there."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
from test_symmetry import row
from words_of_machines import Words, apart, false_after

import bellcrank
from bellcrank.controller.following import following
from bellcrank.machine.machine_model import Clause, Is, Machine
from bellcrank.proof.kept.contents import Contents
from bellcrank.proof.kept.kept_induction import FINELY, KeptProver
from bellcrank.proof.kept.kept_model import InMemory
from bellcrank.proof.kept.method import method
from bellcrank.proof.moving import induction, recurring
from bellcrank.proof.moving.examine import Examiner
from bellcrank.proof.moving.findings import Findings
from bellcrank.proof.moving.induction import Induction, Prover
from bellcrank.proof.moving.recurring import MANY_CLAUSES, renaming_of
from bellcrank.proof.moving.solving import Solving
from bellcrank.proof.moving.symmetry import Kinds
from bellcrank.running.packed import Packed

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.generate import FAMILIES, with_routes

Taken = dict[int, tuple[list[int], bool]]
"""What was taken over: the clauses that helped, and whether it follows in any state."""


@pytest.fixture
def always(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is looked for in machines of few clauses, and in lines of few stations, too."""
    monkeypatch.setattr(induction, "MANY_CLAUSES", 0)
    monkeypatch.setattr(recurring, "LEAST", 3)


@pytest.fixture
def taken(always: None, monkeypatch: pytest.MonkeyPatch) -> Taken:
    """What was taken over last of each clause."""
    found: Taken = {}
    take_over = Findings.take_over

    def noted(
        self: Findings,
        goal: int,
        count: int,
        helping: Sequence[int],
        *,
        in_any_state: bool = False,
    ) -> None:
        found[goal] = list(helping), in_any_state
        take_over(self, goal, count, helping, in_any_state=in_any_state)

    monkeypatch.setattr(Findings, "take_over", noted)
    return found


ROUTES = {"passing loops": 40, "ladders of six": 120, "double slips": 96}
"""Routes of a line of each family that has some stations and is no longer than it need be."""


def line(family: str) -> bellcrank.Sound:
    compiled = bellcrank.compile(with_routes(family, ROUTES[family]))
    assert isinstance(compiled, bellcrank.Sound)
    return compiled


def shown(machine: Machine) -> Induction:
    packed = Packed(machine)
    return Prover(Examiner(packed), Solving()).run(range(packed.stated or len(packed.clauses)))


def clauses_of(machine: Machine) -> list[Clause]:
    return [*(i.clause for i in machine.invariants), *machine.lemmas]


def decided(machine: Machine, held: Sequence[bool], taken: Taken, one_in: int) -> int:
    """How many obligations of what was taken over, and stands, a SAT solver has decided."""
    clauses = clauses_of(machine)
    checked = 0
    standing = [goal for goal in taken if held[goal]]
    for goal in standing[::one_in]:
        (helping, in_any_state), clause = taken[goal], clauses[goal]
        assert all(held[number] for number in helping)
        solver = Words(machine)
        solver.add(clauses[number] for number in helping)
        named = {literal.variable for literal in clause}
        start = [(Is(v, frozenset(machine.variables[v].initial)),) for v in named]
        assert not Words(machine).possible([*start, *apart(clause, machine)])
        if in_any_state and not solver.possible(apart(clause, machine)):
            continue
        solver.add([clause])
        for event in machine.events:
            if named & event.updates.keys():
                assert not solver.possible([*event.guard, *false_after(event, clause, machine)])
                checked += 1
    return checked


def alone_or_with_controller(family: str, controller: bool) -> Machine:
    of = line(family)
    if not controller:
        return of.machine
    found = following(of.control, of.composed, of.machine)
    assert found is not None
    return found.machine


def so_by_its_own_words(machine: Machine, taken: Taken, one_in: int) -> int:
    result = shown(machine)
    assert len(taken) > 0.3 * sum(result.demanded)
    return decided(machine, result.held, taken, one_in)


def test_what_is_taken_over_along_a_line_is_so_by_its_own_words(taken: Taken) -> None:
    machine = line("passing loops").machine
    assert so_by_its_own_words(machine, taken, 300) > 10


@pytest.mark.campaign
@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("controller", [False, True])
def test_so_it_is_on_any_line(family: str, controller: bool, taken: Taken) -> None:
    machine = alone_or_with_controller(family, controller)
    assert so_by_its_own_words(machine, taken, 500) > 20


def with_a_fault(machine: Machine, random: Random) -> Machine:
    """A machine of which one event asks one thing less, or changes one thing less."""
    while True:
        number = random.randrange(len(machine.events))
        event = machine.events[number]
        if random.random() < 0.7 and event.guard:
            left = random.randrange(len(event.guard))
            other = replace(event, guard=event.guard[:left] + event.guard[left + 1 :])
        elif len(event.updates) > 1:
            lost = random.choice([*event.updates])
            other = replace(event, updates={v: c for v, c in event.updates.items() if v != lost})
        else:
            continue
        events = list(machine.events)
        events[number] = other
        return replace(machine, events=tuple(events))


def harmful(family: str, seeds: Iterable[int]) -> int:
    """Of faults in one station how many do harm; the same is shown with each of them as without
    taking over."""
    machine = line(family).machine
    stated = len(machine.invariants)
    count = 0
    for seed in seeds:
        faulty = with_a_fault(machine, Random(seed))
        along = shown(faulty)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(Prover, "_line", lambda self: None)
            by_itself = shown(faulty)
        lost = {number for number in along.failed if number < stated}
        assert lost == {number for number in by_itself.failed if number < stated}, seed
        count += bool(lost)
    return count


def test_a_fault_in_one_station_is_found_as_without(always: None) -> None:
    assert harmful("passing loops", [0, 1, 7])


@pytest.mark.campaign
@pytest.mark.parametrize(("family", "count"), [("passing loops", 20), ("double slips", 5)])
def test_many_faults_in_one_station_are_found_as_without(
    always: None, family: str, count: int
) -> None:
    assert harmful(family, range(100, 100 + count))


def test_each_place_of_a_row_leads_to_the_next(always: None) -> None:
    packed = Packed(row(12))
    found = renaming_of(packed, Examiner(packed).kinds)
    assert found is not None
    assert found.to == [*range(4, 48), -1, -1, -1, -1]
    assert found.carried == [True] * 44 + [False] * 4


def test_a_place_at_which_more_happens_is_led_to_by_none() -> None:
    machine = row(12)
    event = replace(machine.events[0], name="more", updates={"t7": {"up": "down"}})
    packed = Packed(replace(machine, events=(*machine.events, event)))
    found = renaming_of(packed, Kinds(packed, Examiner(packed).clauses))
    assert found is not None
    # What moves `t` of the place before is not all that moves this one.
    assert not found.carried[packed.place["t6"]]
    assert found.carried[packed.place["t5"]]


def test_a_place_that_begins_otherwise_is_led_to_by_none() -> None:
    machine = row(12)
    started = replace(machine.variables["x7"], initial=("up",))
    packed = Packed(replace(machine, variables={**machine.variables, "x7": started}))
    found = renaming_of(packed, Examiner(packed).kinds)
    assert found is not None
    assert found.to[packed.place["x6"]] == -1


def test_where_the_helping_clause_is_missing_nothing_is_taken_over_along_a_line(
    always: None,
) -> None:
    held = shown(row(12, without=7)).held
    assert held == [True] * 21 + [False, True] + [True] * 12


def test_what_leans_on_a_clause_that_is_lost_later_is_not_shown(always: None) -> None:
    machine = row(12)
    spoiler = replace(machine.events[0], name="spoiler", guard=(), updates={"z7": {"up": "down"}})
    spoilt = replace(machine, events=(*machine.events, spoiler))
    assert shown(spoilt).held == [True] * 21 + [False, True, False] + [True] * 12


def test_what_is_kept_of_a_line_says_what_was_taken_over(always: None) -> None:
    machine = line("passing loops").machine
    packed = Packed(machine)
    kept, contents = InMemory(), Contents(packed, machine, method())

    def run() -> Induction:
        prover = KeptProver(Examiner(packed), Solving(), kept=kept, contents=contents)
        prover._finely = False  # as of the machines in which this is looked for
        return prover.run(range(packed.stated))

    first = run()
    kept.settle()
    again = run()
    assert again.held == first.held
    # What follows in any state from a clause that is not a lemma is never kept.
    assert again.kept > 0.8 * again.obligations


def test_it_is_looked_for_only_where_nothing_is_kept_of_each_event() -> None:
    assert MANY_CLAUSES >= FINELY
