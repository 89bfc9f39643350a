"""What is looked up without a search is so, and has the shape that it would be given."""

from __future__ import annotations

from collections import defaultdict
from itertools import product
from random import Random

import pytest

from bellcrank.machine.machine_model import Clause, Event, Invariant, Is, Machine, Variable
from bellcrank.proof.moving.clauses_in_play import ClausesInPlay
from bellcrank.proof.moving.examine import Examiner
from bellcrank.proof.moving.findings import IN_ANY_STATE, Findings
from bellcrank.proof.moving.own_names import false_after
from bellcrank.proof.moving.shapes import shape_of, there_are
from bellcrank.proof.moving.ways_out import WaysOut
from bellcrank.running.packed import Packed, PackedClause

VALUES = {"u": "abc", "v": "abcd", "w": "ab", "x": "abc"}


def some_literal(random: Random, name: str) -> Is:
    values = VALUES[name]
    return Is(name, frozenset(random.sample(values, random.randint(0, len(values)))))


def some_clause(random: Random, sizes: tuple[int, ...]) -> Clause:
    names = random.sample(list(VALUES), random.choice(sizes))
    return tuple(some_literal(random, name) for name in names)


def some_event(random: Random, number: int) -> Event:
    changed = random.sample(list(VALUES), random.randint(1, 2))
    return Event(
        f"event {number}",
        "request",
        "operator",
        "it",
        "it",
        tuple(some_clause(random, (1, 1, 2)) for _ in range(random.randint(0, 3))),
        {v: {random.choice(VALUES[v]): random.choice(VALUES[v])} for v in changed},
    )


def some_machine(random: Random) -> Machine:
    """A machine of four variables that need not make sense."""
    variables = {
        name: Variable(name, "route", name, tuple(values), tuple(random.sample(values, 1)))
        for name, values in VALUES.items()
    }
    return Machine(
        variables,
        tuple(some_event(random, n) for n in range(5)),
        tuple(Invariant("meetings", some_clause(random, (1, 2, 3)), "") for _ in range(5)),
        (),
        tuple(some_clause(random, (1, 2, 2, 2)) for _ in range(12)),
        {},
    )


def possible(clauses: list[PackedClause], packed: Packed) -> bool:
    """Whether some state makes all of these true."""
    states = product(*[[1 << k for k in range(full.bit_length())] for full in packed.full])
    return any(all(any(s[v] & m for v, m in c) for c in clauses) for s in states)


@pytest.mark.parametrize("seed", range(60))
def test_that_a_literal_is_false_after_what_is_said_to_leave_it_true_cannot_happen(
    seed: int,
) -> None:
    random = Random(seed)
    packed = Packed(some_machine(random))
    examiner = Examiner(packed)
    examiner.clauses.strike(random.sample(range(len(packed.clauses)), 3))
    shown = 0
    for event in packed.events:
        for literal in dict.fromkeys(literal for clause in packed.clauses for literal in clause):
            found = examiner._left_true(event, literal)
            if found is None:
                continue
            shown += 1
            shape, helping = found
            assert all(examiner.clauses.standing[number] for number in helping)
            (fact,) = false_after(event, (literal,), packed.full)
            guard = [(condition,) for condition in event.conditions]
            help_ = [packed.clauses[number] for number in helping]
            assert not possible([fact, *guard, *help_], packed)
            # Its shape is made of no more than these, so a solver must agree.
            others = [[g, *help_] for g in guard]
            if not helping:
                others = [[((v, full),)] for v, full in enumerate(packed.full)]
            assert examiner.shapes[shape] in {shape_of([fact, *o], packed.full) for o in others}
    assert shown


@pytest.mark.parametrize("seed", range(60))
def test_the_ways_out_of_some_values_are_the_events_that_may_lead_out_of_them(seed: int) -> None:
    packed = Packed(some_machine(Random(seed)))
    ways_out = WaysOut(packed)
    led_out = 0
    for variable, full in enumerate(packed.full):
        for mask in range(full + 1):
            expected = {
                event.number
                for event in packed.events
                for changed, changes in event.changes
                for old, new in changes
                if changed == variable
                and old & mask & event.units.get(variable, full)
                and not new & mask
            }
            found = ways_out.of((variable, mask))
            assert sorted(event.number for event, _ in found) == sorted(expected)
            assert all(allowed == event.units for event, allowed in found)
            led_out += len(found)
    assert led_out


@pytest.mark.parametrize("seed", range(40))
def test_a_clause_that_excludes_two_literals_is_found_if_one_stands(seed: int) -> None:
    random = Random(seed)
    packed = Packed(some_machine(random))
    clauses = ClausesInPlay(len(packed.full), packed.clauses)
    clauses.strike(random.sample(range(len(packed.clauses)), 4))
    found = 0
    for one, other in product(range(4), repeat=2):
        its, known = (random.randint(1, packed.full[v]) for v in (one, other))
        fitting = [
            number
            for number, clause in enumerate(packed.clauses)
            if len(clause) == 2
            and clauses.standing[number]
            and {v for v, _ in clause} == {one, other}
            and not (dict(clause)[one] & its or dict(clause)[other] & known)
        ]
        # Another condition before it, which no clause excludes, is passed over.
        conditions = [(one, packed.full[one]), (other, known)]
        among = clauses.excluding(one, its, conditions)
        assert among in ([(number, (other, known)) for number in fitting] or [None])
        found += bool(fitting)
    assert found or seed not in (0, 1, 2)


@pytest.mark.parametrize("seed", range(40))
def test_the_clauses_that_are_false_by_what_is_known_are_found(seed: int) -> None:
    random = Random(seed)
    packed = Packed(some_machine(random))
    clauses = ClausesInPlay(len(packed.full), packed.clauses)
    for variable, full in enumerate(packed.full):
        known = random.randint(1, full)
        its = [
            (number, clause)
            for number, clause in enumerate(packed.clauses)
            if not dict(clause).get(variable, known) & known
        ]
        longer = [number for number, clause in its if len(clause) != 2]
        pairs = [
            (number, *other)
            for number, clause in its
            for other in clause
            if len(clause) == 2 and other[0] != variable
        ]
        assert clauses.falsified(variable, known) == (pairs, longer)
        others = dict.fromkeys(random.sample(range(4), 2), 1)
        near, also = clauses.falsified_with(variable, known, others)
        assert sorted(near) == [pair for pair in pairs if pair[1] in others]
        assert also == longer


def test_two_sets_of_each_variable_give_the_same_shape_just_if_there_are_the_same_kinds() -> None:
    by_kinds = defaultdict(set)
    for full, one, other in product(range(1, 16), range(16), range(16)):
        if not (one | other) & ~full:
            shape = shape_of([((0, one),), ((0, other),)], [full])
            by_kinds[there_are(full, one, other)].add(shape)
    # All but "no value at all", which no variable has.
    assert len(by_kinds) == 15
    assert all(len(shapes) == 1 for shapes in by_kinds.values())


def by_obligation(found: Findings) -> dict[tuple[int, int], set[object]]:
    """The shapes of all obligations that take no search, by clause and event."""
    shapes: dict[tuple[int, int], set[object]] = defaultdict(set)
    for shape, places in found.shapes.items():
        for goal, event in zip(places[::2], places[1::2], strict=True):
            if event < 0:
                shapes[goal, event].add(shape)
    return shapes


@pytest.mark.parametrize("seed", range(60))
def test_a_shape_that_is_looked_up_is_the_one_that_would_be_made(seed: int) -> None:
    packed = Packed(some_machine(Random(seed)))
    looked_up, made = (
        by_obligation(Examiner(packed, own_names=own).examine(range(len(packed.clauses))))
        for own in (False, True)
    )
    assert looked_up == made
    if seed < 5:
        assert any(event == IN_ANY_STATE for _, event in made)
