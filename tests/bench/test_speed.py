"""The speed that is aimed for, held with room to spare for a busy machine."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from bench import moving, pictures, provers
from bench.generate import FAMILIES, with_routes
from bench.routes import growth, measure_apart
from cpu_time import SLOW_HOUR, within

import bellcrank
from bellcrank.rehearsal.vectors import MOST_IN_CASES, MOST_IN_RUNS, make_vectors

pytestmark = pytest.mark.bench

EXAMPLES = Path(__file__).parent.parent.parent / "examples"


@pytest.mark.parametrize("family", FAMILIES)
def test_a_thousand_routes_take_seconds_and_growth_is_nearly_linear(family: str) -> None:
    rows = [measure_apart(family, routes) for routes in (100, 1_000, 3_000)]
    assert rows[1]["cpu"] < 5 * SLOW_HOUR
    assert rows[1]["megabytes"] < 500
    assert growth(rows, "cpu") < 1.3
    assert growth(rows, "megabytes") < 1.3


@pytest.mark.parametrize("family", FAMILIES)
def test_the_moving_proof_grows_with_the_layout_and_not_with_its_states(family: str) -> None:
    rows = [moving.measure_apart(family, routes) for routes in (300, 1_000)]
    # The aim is 5 s by the clock, on a quiet machine with two cores.
    assert rows[1]["cpu"] < 25 * SLOW_HOUR
    assert rows[1]["megabytes"] < 1_000
    # Which of several ways to show a clause is gone depends a little on how the work is cut.
    assert rows[1]["shapes"] <= 1.1 * rows[0]["shapes"]
    assert growth(rows, "obligations") < 1.1
    assert growth(rows, "cpu") < 1.4


def test_an_example_is_proved_and_checked_again_from_cold_in_time() -> None:
    # Every obligation is stated by its own names for it, so there are more questions.
    for example, limit in (("harbour-terminus", 2.0), ("four-track-station", 12.0)):
        command = [sys.executable, "-m", "bellcrank", "check", "--recheck"]
        command.append(str(EXAMPLES / f"{example}.crank"))
        with within(limit):
            subprocess.run(command, check=True, capture_output=True)


def test_the_test_vectors_of_the_largest_example_take_about_a_second() -> None:
    machine = bellcrank.compile_file(EXAMPLES / "four-track-station.crank").machine
    assert machine is not None
    with within(2):
        vectors = make_vectors(machine)
    assert vectors.events.left_out == 0


def test_the_test_vectors_of_a_large_layout_stay_few_and_take_seconds() -> None:
    machine = bellcrank.compile(with_routes("ladders of six", 1_000)).machine
    assert machine is not None
    with within(10):
        vectors = make_vectors(machine)
    assert sum(len(run.steps) for run in vectors.runs) <= MOST_IN_RUNS
    assert len(vectors.cases) <= MOST_IN_CASES
    assert vectors.events.left_out > 0


@pytest.mark.skipif(provers.ABC is None, reason="not installed: berkeley-abc")
def test_the_proof_takes_a_fraction_of_the_time_of_a_prover_that_knows_no_railways() -> None:
    found = provers.beside_pdr(provers.FOR_PDR["harbour terminus"](), seconds=120)
    assert found.answered
    assert found.ratio > 4
    assert found.ratio_of_proofs > 20


@pytest.mark.parametrize("name", pictures.LAYOUTS)
def test_a_picture_of_100_elements_takes_3_s_and_of_1000_a_minute(name: str) -> None:
    elements, seconds, _ = pictures.measure(name)
    assert elements >= (1_000 if name.endswith("1,000") else 95)
    assert seconds < (60 if elements >= 1_000 else 3)
