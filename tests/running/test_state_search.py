"""The search through states keeps to its bounds."""

from __future__ import annotations

import time

from bellcrank.machine.machine_model import Clause, Event, Is, Machine, Variable
from bellcrank.running.state_search import Explorer


def drives(count: int) -> Machine:
    """A machine of drives alone, each of which may lie either way at the start."""
    ways = ("straight", "diverging")
    variables = {f"d{n}": Variable(f"d{n}", "drive", f"d{n}", ways, ways) for n in range(count)}
    return Machine(variables, (), (), (), (), {})


def test_more_states_at_the_start_than_may_be_looked_at_end_the_search() -> None:
    found = Explorer(drives(40)).search({}, most=1_000)
    assert not found.complete
    assert found.states == 1_001


def test_a_deadline_ends_the_search_even_at_the_start() -> None:
    began = time.monotonic()
    found = Explorer(drives(40)).search({}, deadline=began)
    assert not found.complete
    assert time.monotonic() - began < 5


def test_what_is_wanted_may_be_found_at_the_start_and_all_may_be_looked_at() -> None:
    explorer = Explorer(drives(3))
    found = explorer.search({"both": lambda state: state[0] == state[1] == 1})
    assert found.runs == {"both": ()}
    whole = explorer.search({})
    assert (whole.complete, whole.states) == (True, 8)


def one_event(*guard: Clause) -> Machine:
    """A machine of one variable, which one event takes from a to c."""
    variables = {"v": Variable("v", "track", "v", ("a", "b", "c"), ("a", "b"))}
    event = Event("on", "request", "operator", "v", "it goes on", guard, {"v": {"a": "c"}})
    return Machine(variables, (event,), (), (), (), {})


def test_of_two_conditions_on_one_variable_both_must_hold() -> None:
    """One of them is looked up, and the other must not be taken for the same."""
    first, second = Is("v", frozenset("ab")), Is("v", frozenset("bc"))
    for guard in (((first,), (second,)), ((second,), (first,))):
        explorer = Explorer(one_event(*guard))
        assert explorer.successors(explorer.pack({"v": "a"})) == []
        assert len(explorer.successors(explorer.pack({"v": "b"}))) == 1


def test_a_condition_that_can_never_hold_keeps_an_event_from_happening() -> None:
    never = Is("v", frozenset())
    explorer = Explorer(one_event((Is("v", frozenset("a")),), (never, never)))
    assert explorer.search({}).states == 2
