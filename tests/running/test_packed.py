"""A packed machine says what the machine says, value by value."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest
from rehearsed import FORGETFUL, JUNCTION, railway

import bellcrank
from bellcrank.machine.machine_model import Clause, after, holds, possible
from bellcrank.running.packed import Packed, PackedClause, before
from bellcrank.running.state_search import Explorer


def true(clause: PackedClause, bits: list[int]) -> bool:
    return any(bits[v] & mask for v, mask in clause)


@pytest.mark.parametrize("text", [JUNCTION, FORGETFUL])
def test_clauses_guards_and_updates_mean_the_same_packed(text: str) -> None:
    machine = railway(text).machine
    packed, random = Packed(machine), Random(1)
    stated: list[Clause] = [*(i.clause for i in machine.invariants), *machine.lemmas]
    assert len(stated) == len(packed.clauses)
    for _ in range(30):
        state = {name: random.choice(v.values) for name, v in machine.variables.items()}
        bits = [packed.mask(name, [value])[1] for name, value in state.items()]
        for clause, its in zip(stated, packed.clauses, strict=True):
            assert true(its, bits) == holds(clause, state)
            assert holds(packed.named(its), state) == holds(clause, state)
        for event, its in zip(machine.events, packed.events, strict=True):
            units = all(bits[v] & mask for v, mask in its.units.items())
            assert (units and all(true(c, bits) for c in its.guard)) == possible(event, state)
            then = after(event, state)
            for place, (name, v) in enumerate(machine.variables.items()):
                mask = packed.mask(name, random.sample(v.values, random.randint(0, 2)))[1]
                reaches = bool(packed.mask(name, [then[name]])[1] & mask)
                assert bool(bits[place] & before(its, place, mask)) == reaches


def test_a_state_packed_and_unpacked_is_the_same() -> None:
    machine = railway(JUNCTION).machine
    explorer = Explorer(machine)
    assert explorer.unpack(explorer.pack(machine.start())) == machine.start()
    assert explorer.pack(machine.start()) == next(explorer.initial())


def test_what_is_of_a_part_is_packed_as_if_it_were_packed_again() -> None:
    of = bellcrank.compile(JUNCTION)
    assert isinstance(of, bellcrank.Sound)
    packed = Packed(of.machine)
    taken = Packed(of.composed, (of.machine, packed))
    assert taken.clauses == Packed(of.composed).clauses
    same = {*map(id, packed.clauses)} & {*map(id, taken.clauses)}
    assert len(same) == len({*map(id, of.machine.clauses)})


def test_of_a_machine_with_other_variables_nothing_is_taken() -> None:
    machine = railway(JUNCTION).machine
    first, *others = machine.variables
    turned = replace(machine, variables={n: machine.variables[n] for n in (*others, first)})
    assert Packed(turned, (machine, Packed(machine))).clauses == Packed(turned).clauses
