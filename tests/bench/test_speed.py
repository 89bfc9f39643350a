"""The speed that is aimed for, held with room to spare for a busy machine."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

import pytest
from bench.generate import FAMILIES
from bench.routes import growth, measure_apart

pytestmark = pytest.mark.bench

EXAMPLES = Path(__file__).parent.parent.parent / "examples"


@pytest.mark.parametrize("family", FAMILIES)
def test_a_thousand_routes_take_seconds_and_growth_is_nearly_linear(family: str) -> None:
    rows = [measure_apart(family, routes) for routes in (100, 1_000, 3_000)]
    assert rows[1]["total"] < 5
    assert rows[1]["megabytes"] < 500
    assert growth(rows, "total") < 1.3
    assert growth(rows, "megabytes") < 1.3


@pytest.mark.parametrize(
    ("example", "limit"), [("harbour-terminus", 1.0), ("four-track-station", 2.0)]
)
def test_an_example_is_checked_from_cold_in_time(example: str, limit: float) -> None:
    command = [sys.executable, "-m", "bellcrank", "check", str(EXAMPLES / f"{example}.crank")]
    seconds = []
    for _ in range(3):
        start = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True)
        seconds.append(time.perf_counter() - start)
    assert min(seconds) < limit
