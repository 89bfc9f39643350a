"""Faults in layouts that nobody made to seed faults in; and random runs find what is wrong."""

from __future__ import annotations

import os
import time

import machine_faults
import pytest
from irregular_faults import Job, campaign, chosen, railways, tried
from machine_faults import Campaign, faults, outcomes_of, small_machine
from random_runs import Runs, contradicted

from bellcrank.machine.machine_model import Machine
from bellcrank.proof.moving.moving_proof import Effort, prove_moving
from bellcrank.proof.verdict import MovingVerdict

WANTED = int(os.environ.get("BELLCRANK_FAULTS", "20"))

LAYOUT = "long way in"
"""Of the small layouts."""

SOME = ("balloon-loop/notebook.crank", "random railway 5")


A_FEW = [job for job in (*chosen(20), *railways(0, 40)) if job.name in SOME]


def test_random_runs_come_to_most_of_what_a_fault_does() -> None:
    machine = small_machine(LAYOUT)
    harmful = 0
    found = 0
    for fault in list(faults(machine))[::8]:
        outcomes = outcomes_of(prove_moving(fault.machine, Effort(seconds=5)), machine)
        refuted = {name for name, outcome in outcomes.items() if outcome == "refuted"} - {"rest"}
        if refuted:
            harmful += 1
            found += bool(contradicted(fault.machine, refuted, fault.changed, Runs()))
    assert harmful >= 4
    assert found >= 0.8 * harmful


def test_random_runs_come_to_nothing_where_there_is_no_fault() -> None:
    machine = small_machine(LAYOUT)
    stated = {i.of for i in machine.invariants}
    assert contradicted(machine, stated, [e.name for e in machine.events[::7]], Runs()) == ""


def test_a_proof_that_proves_everything_is_found_out_though_not_all_states_are_looked_at(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    machine = small_machine(LAYOUT)
    of_sound = prove_moving(machine)

    def proves_everything(machine: Machine, effort: Effort) -> MovingVerdict:
        return of_sound

    monkeypatch.setattr(machine_faults, "prove_moving", proves_everything)
    blind = Campaign(most=0)
    seeing = Campaign(most=0, runs=Runs())
    for tries in (blind, seeing):
        tries.try_all(machine, LAYOUT, every=4)
    assert not blind.wrong
    assert len(seeing.wrong) >= 5


@pytest.mark.parametrize("job", A_FEW, ids=lambda job: job.name)
def test_a_few_faults_in_an_irregular_layout_are_found_if_they_do_harm(
    job: Job, monkeypatch: pytest.MonkeyPatch
) -> None:
    # As in the workers of the campaign: its limits are of CPU time.
    monkeypatch.setattr(time, "monotonic", time.process_time)
    done = tried(job)
    assert 1 <= done.total["seeded"] <= job.most
    assert not done.wrong


def test_the_corpus_and_networks_have_their_share_of_the_faults() -> None:
    jobs = list(chosen(10_000))
    assert len({job.name for job in jobs}) == len(jobs) >= 60
    assert sum(job.most for job in jobs) >= 1_700


@pytest.mark.campaign
def test_no_fault_in_irregular_layouts_is_proved_and_unsafe() -> None:
    # `python tests/proof/irregular_faults.py` tries 10,000.
    total = campaign(WANTED, 1)
    assert not total.wrong
    assert total.total["seeded"] >= WANTED
    assert total.total["refuted"] >= WANTED // 5
    assert total.total["undecided"] + total.total["harmless, undecided"] <= WANTED // 10
