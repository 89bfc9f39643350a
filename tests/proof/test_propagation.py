"""Searches for a contradiction: what one learns stays with it, and its core contradicts."""

from __future__ import annotations

from itertools import product
from random import Random

import pytest

from bellcrank.proof.moving.clauses_in_play import ClausesInPlay
from bellcrank.proof.moving.propagation import GOAL, AtEvent, Core, Numbered, Propagation
from bellcrank.running.packed import Packed, PackedClause, PackedEvent

FULL = [0b111, 0b111, 0b11, 0b11]


def at(clauses: list[PackedClause], event: PackedEvent | None = None) -> AtEvent:
    packed = Packed.__new__(Packed)
    packed.full, packed.start = FULL, [0b1] * 4
    packed.held = packed.signal = [False] * 4
    return AtEvent(packed, ClausesInPlay(4, clauses), event or PackedEvent(0, (), (), ()))


def possible_together(clauses: list[PackedClause]) -> bool:
    values = [[1 << k for k in range(mask.bit_length())] for mask in FULL]
    return any(all(any(s[v] & m for v, m in c) for c in clauses) for s in product(*values))


def fact(variable: int, mask: int) -> Numbered:
    return GOAL, ((variable, mask),)


def some_clauses(random: Random, count: int) -> list[PackedClause]:
    found = []
    for _ in range(count):
        variables = random.sample(range(4), random.randint(1, 3))
        found.append(tuple((v, random.randint(1, FULL[v] - 1)) for v in variables))
    return found


@pytest.mark.parametrize("seed", range(150))
def test_a_core_cannot_be_true_together_and_is_made_of_what_was_given(seed: int) -> None:
    random = Random(seed)
    clauses = some_clauses(random, 9)
    facts = [fact(v, random.randint(1, FULL[v])) for v in random.sample(range(4), 2)]
    known = Propagation(at(clauses))
    cores: list[Core | None] = [known.branch().refute(facts), known.branch().refute_nearby(facts)]
    for core in cores:
        if core is not None:
            assert not possible_together([clause for _, clause in core])
            assert all(f in facts if f[0] == GOAL else clauses[f[0]] == f[1] for f in core)


def test_some_contradictions_are_found_only_by_trying_values() -> None:
    # Each value of variable 0 is ruled out by way of another variable, and none at once.
    clauses: list[PackedClause] = [
        ((0, 0b110), (2, 0b01)), ((0, 0b110), (2, 0b10)),
        ((0, 0b101), (3, 0b01)), ((0, 0b101), (3, 0b10)),
    ]  # fmt: skip
    facts = [fact(0, 0b011)]
    assert Propagation(at(clauses)).refute_nearby(facts) is None
    core = Propagation(at(clauses)).refute(facts)
    assert core is not None
    assert set(core) == {*facts, *enumerate(clauses)}


def test_what_a_branch_finds_out_is_not_known_where_it_branched_off() -> None:
    clauses: list[PackedClause] = [((0, 0b110), (1, 0b001)), ((0, 0b110), (1, 0b010))]
    known = Propagation(at(clauses))
    assert known.branch().refute([fact(0, 0b001)]) is not None
    assert known.branch().refute([fact(0, 0b010)]) is None
    assert known.refute([fact(0, 0b111)]) is None


def test_a_clause_that_was_struck_out_is_not_made_use_of() -> None:
    setting = at([((0, 0b110), (1, 0b001)), ((0, 0b110), (1, 0b010))])
    assert Propagation(setting).refute([fact(0, 0b001)]) is not None
    setting.clauses.strike([1])
    assert setting.clauses.struck() == [1]
    assert Propagation(setting).refute([fact(0, 0b001)]) is None
    setting.clauses.stand_but_for([])
    assert Propagation(setting).refute([fact(0, 0b001)]) is not None
