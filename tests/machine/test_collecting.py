"""Garbage is collected as before once the many things are made."""

from __future__ import annotations

import gc
from pathlib import Path

import pytest

import bellcrank
from bellcrank.machine.collecting import MANY, NEW_THINGS, collected_seldom

EXAMPLES = Path(__file__).parents[2] / "examples"


def test_the_collector_runs_seldom_only_within() -> None:
    before = gc.get_threshold()
    with pytest.raises(KeyError), collected_seldom():
        assert gc.get_threshold()[0] == NEW_THINGS > before[0]
        raise KeyError
    assert gc.get_threshold() == before


@pytest.mark.parametrize(("number", "looked_through"), [(MANY // 10, True), (MANY * 2, False)])
def test_what_is_much_is_not_looked_through_afterwards(number: int, looked_through: bool) -> None:
    """It is with the old things at once; of what is little, the next look is as ever."""
    gc.collect()
    with collected_seldom():
        made = [[] for _ in range(number)]  # type: ignore[var-annotated]
    young = [id(one) for generation in (0, 1) for one in gc.get_objects(generation)]
    assert (id(made[0]) in young) == looked_through


def test_of_a_very_large_railway_no_literals_are_kept_beside_its_clauses(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    text = (EXAMPLES / "turning-loop.crank").read_text(encoding="utf-8")
    small = bellcrank.compile(text).machine
    monkeypatch.setattr("bellcrank.machine.build_machine.MOST_WITH_LITERALS", 10)
    large = bellcrank.compile(text).machine
    assert small is not None and large is not None
    assert small == large
    assert any(variable.literals for variable in small.variables.values())
    assert not any(variable.literals for variable in large.variables.values())


def test_a_proof_leaves_nothing_that_only_the_collector_would_find() -> None:
    text = (EXAMPLES / "turning-loop.crank").read_text(encoding="utf-8")
    found: list[int] = []
    compiled = bellcrank.compile(text)
    assert isinstance(compiled, bellcrank.Sound)
    for _ in range(2):  # what is loaded comes up but once
        gc.collect()
        gc.disable()
        try:
            assert bellcrank.prove(compiled, controller=True).proved
            found.append(gc.collect())
        finally:
            gc.enable()
    assert found[-1] < 1_000, "of some 100,000 things that it makes"
