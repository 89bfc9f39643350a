"""The search through states keeps to its bounds."""

from __future__ import annotations

import time

from bellcrank.machine.machine_model import Machine, Variable
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
