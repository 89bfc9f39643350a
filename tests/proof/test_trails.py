"""What led to a contradiction at an event is gone along once more for the next clause."""

from __future__ import annotations

import sys
from pathlib import Path
from random import Random

import pytest
from test_looked_up import possible, some_machine

import bellcrank
from bellcrank.machine.machine_model import Machine
from bellcrank.proof.moving import examine
from bellcrank.proof.moving.clauses_in_play import ClausesInPlay
from bellcrank.proof.moving.examine import Examiner
from bellcrank.proof.moving.induction import Induction, Prover
from bellcrank.proof.moving.own_names import false_after
from bellcrank.proof.moving.propagation import GOAL, AtEvent, Core, Numbered, Propagation
from bellcrank.proof.moving.solving import Solving
from bellcrank.proof.moving.trails import Trails
from bellcrank.running.packed import Packed, PackedEvent

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.generate import chain


def known_at(packed: Packed, clauses: ClausesInPlay, event: PackedEvent) -> Propagation | None:
    """What the guard says outright; None if it contradicts itself."""
    at = AtEvent(packed, clauses, event)
    known = Propagation(at)
    if known.branch().refute_along(at.units, ()) is not None:
        return None
    known.take(at.units)
    return known


@pytest.mark.parametrize("seed", range(60))
def test_what_a_trail_leads_to_cannot_happen_in_any_state(seed: int) -> None:
    random = Random(seed)
    packed = Packed(some_machine(random))
    clauses = ClausesInPlay(len(packed.full), packed.clauses)
    clauses.strike(random.sample(range(len(packed.clauses)), 3))
    retraced = 0
    for event in packed.events:
        known = known_at(packed, clauses, event)
        if known is None:
            continue
        trails = Trails(packed)
        for clause in packed.clauses:
            facts: list[Numbered] = [(GOAL, f) for f in false_after(event, clause, packed.full)]
            core = trails.retrace(facts, known)
            if core is None:
                core = known.branch().refute(facts)
                if core is None:
                    continue
                trails.remember(facts, core)
                again = trails.retrace(facts, known)
                assert again is None or not possible([c for _, c in again], packed)
                continue
            retraced += 1
            assert not possible([c for _, c in core], packed)
            for number, asked in core:
                if number >= 0:
                    assert clauses.standing[number] and packed.clauses[number] == asked
                elif number == GOAL:
                    assert (GOAL, asked) in facts
                else:
                    assert asked in event.guard or asked[0] in event.conditions
    assert retraced


def shown(machine: Machine) -> tuple[Induction, int]:
    """An induction over a machine, and how many searches it took."""
    searches = 0
    search = examine._searched

    def counted(facts: list[Numbered], known: Propagation, nearby: int | None) -> Core | None:
        nonlocal searches
        searches += 1
        return search(facts, known, nearby)

    packed = Packed(machine)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(examine, "_searched", counted)
        result = Prover(Examiner(packed), Solving()).run(range(packed.stated))
    return result, searches


def test_in_a_station_many_clauses_that_differ_by_a_route_take_no_search() -> None:
    compiled = bellcrank.compile(chain(1, 8))
    assert not isinstance(compiled, bellcrank.Broken)
    with_trails, few = shown(compiled.machine)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Trails, "retrace", lambda self, facts, known: None)
        without, many = shown(compiled.machine)
    assert few < 0.7 * many
    assert with_trails.held == without.held
    assert not with_trails.failed and not without.failed
    assert set(with_trails.answers.values()) == {"unsat"}


def searched_and_retraced(machine: Machine, *, each_by_itself: bool) -> tuple[int, int]:
    """How many clauses on what a train leaves behind take a search where one is divided, and how
    many only the trail of another.

    each_by_itself: as if no two variables were of the same thing.
    """
    packed = Packed(machine)
    if each_by_itself:
        packed.of = packed.names
        packed.only = {(packed.kinds[i], name): i for i, name in enumerate(packed.names)}
    clauses = ClausesInPlay(len(packed.full), packed.clauses)
    found = [0, 0]
    for event in packed.events:
        known = known_at(packed, clauses, event)
        if known is None or machine.events[event.number].kind != "uncoupled":
            continue
        trails = Trails(packed)
        moved = {variable for variable, _ in event.changes}
        for clause in packed.clauses:
            its = [variable for variable, _ in clause]
            if {packed.kinds[v] for v in its} != {"held", "track", "progress"}:
                continue
            if moved.isdisjoint(its):
                continue
            facts: list[Numbered] = [(GOAL, f) for f in false_after(event, clause, packed.full)]
            retraced = trails.retrace(facts, known) is not None
            found[retraced] += 1
            core = None if retraced else known.branch().refute(facts)
            if core is not None:
                trails.remember(facts, core)
    return found[0], found[1]


def test_a_trail_finds_what_the_next_route_has_in_place_of_this_one() -> None:
    compiled = bellcrank.compile(chain(1, 5))
    assert not isinstance(compiled, bellcrank.Broken)
    # How far a route's train is and what its controller knows of that are two variables of it.
    searched, retraced = searched_and_retraced(compiled.composed, each_by_itself=False)
    assert retraced > searched
    searched, retraced = searched_and_retraced(compiled.composed, each_by_itself=True)
    assert retraced < searched


def test_no_trail_leads_over_a_clause_that_does_not_stand() -> None:
    packed = Packed(some_machine(Random(0)))
    clauses = ClausesInPlay(len(packed.full), packed.clauses)
    for event in packed.events:
        known = known_at(packed, clauses, event)
        for clause in packed.clauses:
            facts: list[Numbered] = [(GOAL, f) for f in false_after(event, clause, packed.full)]
            core = None if known is None else known.branch().refute(facts)
            if known is None or core is None:
                continue
            helping = [number for number, _ in core if number >= 0]
            if len(helping) != 1:
                continue
            trails = Trails(packed)
            trails.remember(facts, core)
            found = trails.retrace(facts, known)
            assert found is not None
            over = {v for v, _ in packed.clauses[helping[0]]}
            alike = [n for n, c in enumerate(packed.clauses) if {v for v, _ in c} == over]
            clauses.strike(alike)
            assert trails.retrace(facts, known) is None
            return
    pytest.fail("no clause was shown with the help of one")
