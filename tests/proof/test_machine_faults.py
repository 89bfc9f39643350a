"""Each single fault in a machine is found by the proof if it does harm, and only then."""

from __future__ import annotations

from collections import Counter

import pytest
from fault_layouts import SMALL
from machine_faults import (
    EVERY,
    Campaign,
    example_machine,
    faults,
    outcomes_of,
    random_machines,
    small_machine,
)

from bellcrank.proof.moving.moving_proof import Effort, prove_moving
from bellcrank.running.state_search import Explorer, violated


def assert_all_found(campaign: Campaign) -> None:
    """Every fault was refuted or is harmless, and nothing was left open."""
    assert not campaign.wrong
    assert campaign.total["harmless, undecided"] == 0, campaign.undecided
    assert campaign.total["undecided"] == 0


@pytest.mark.parametrize("name", SMALL)
def test_without_a_fault_a_small_layout_is_proved_and_nothing_is_wrong_in_its_states(
    name: str,
) -> None:
    machine = small_machine(name)
    assert set(outcomes_of(prove_moving(machine), machine).values()) == {"proved"}
    explorer = Explorer(machine)
    found = explorer.search(violated(explorer, machine))
    assert found.complete and not found.runs


MANY_STATES = (
    "points", "three way points", "turntable", "overlap at points", "loop", "sections of two",
    "whole routes",
)  # fmt: skip
"""Of the small layouts those that take longest."""


@pytest.mark.parametrize(
    ("name", "every", "refuted", "harmless"),
    [
        *((name, 10, 1, 1) for name in list(SMALL)[::2] if name not in MANY_STATES),
        *(pytest.param(name, 5, 1, 1, marks=pytest.mark.campaign) for name in SMALL),
    ],
)
def test_faults_in_a_small_layout_are_found_if_they_do_harm(
    name: str, every: int, refuted: int, harmless: int
) -> None:
    # All of them are tried by `python tests/proof/machine_faults.py`.
    campaign = Campaign()
    campaign.try_all(small_machine(name), name, every=every)
    assert_all_found(campaign)
    assert campaign.total["refuted"] >= refuted
    assert campaign.total["harmless, proved"] >= harmless


def test_the_faults_in_small_layouts_are_over_two_thousand_and_of_many_kinds() -> None:
    kinds = Counter(fault.kind for name in SMALL for fault in faults(small_machine(name)))
    assert kinds.total() > 2_000
    assert sum(count >= 10 for count in kinds.values()) >= 15, kinds


LARGER = ("four-track-station", "harbour-terminus")


@pytest.mark.parametrize(
    "name",
    [pytest.param(name, marks=pytest.mark.campaign if name in LARGER else []) for name in EVERY],
)
def test_a_few_faults_in_each_example_are_found_if_they_do_harm(name: str) -> None:
    machine = example_machine(name)
    campaign = Campaign(seconds=2)
    campaign.try_all(machine, name, every=max(1, len(list(faults(machine))) // 3))
    # Where there are too many states to look at, some faults stay undecided.
    assert not campaign.wrong
    assert campaign.total["seeded"] >= 3


def test_putting_back_a_signal_that_is_not_off_is_proved_to_do_no_harm() -> None:
    machine = example_machine("hand-worked-branch")
    kind = "cancel: a clause dropped"
    dropped = [f for f in faults(machine) if f.kind == kind and f.what.startswith("put back")]
    harmless = [f for f in dropped if ": signal " in f.what]
    assert len(harmless) > 10
    for fault in harmless[:3]:
        verdict = prove_moving(fault.machine, Effort(search=0))
        assert set(outcomes_of(verdict, machine).values()) == {"proved"}, fault.what


@pytest.mark.campaign
def test_some_faults_in_random_layouts_are_found_if_they_do_harm() -> None:
    campaign = Campaign()
    for seed, machine in random_machines(range(24), most=4_000):
        campaign.try_all(machine, f"random {seed}", every=12)
    assert_all_found(campaign)
    assert campaign.total["refuted"] >= 2
