"""The indexes find all that speaks of a variable, and all events that may be possible."""

from __future__ import annotations

import pytest
from rehearsed import FORGETFUL, JUNCTION, railway

from bellcrank.machine.machine_model import possible
from bellcrank.running.lookup import ByNarrowest, ByVariable
from bellcrank.running.packed import Packed


@pytest.mark.parametrize("text", [JUNCTION, FORGETFUL])
def test_the_clauses_that_name_a_variable_are_found_by_name_and_by_number(text: str) -> None:
    machine = railway(text).machine
    clauses = [*(i.clause for i in machine.invariants), *machine.lemmas]
    packed = Packed(machine)
    by_name, by_number = ByVariable(clauses), ByVariable(packed.clauses)
    for place, name in enumerate(machine.variables):
        naming = [n for n, c in enumerate(clauses) if any(x.variable == name for x in c)]
        assert list(by_name.naming(name)) == list(by_number.naming(place)) == naming
    assert list(by_name.naming("no such variable")) == []


def test_every_event_that_is_possible_is_worth_looking_at_and_few_others_are() -> None:
    machine = railway(JUNCTION).machine
    state = machine.start()
    numbers = list(ByNarrowest(machine.events).worth_looking_at(state.items()))
    able = [n for n, event in enumerate(machine.events) if possible(event, state)]
    assert able and set(able) <= set(numbers)
    assert numbers == sorted(set(numbers))
    assert len(numbers) < len(machine.events) / 2
