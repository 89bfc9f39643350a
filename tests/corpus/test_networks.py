"""Random networks of rail, with rings in them: every one gets its verdict.

`python tests/corpus/test_networks.py` tries all of them, each in a process of its own, and
prints a table; `--every 10` takes each tenth, `--from 50 --to 60` those between, and
`--seconds 100` gives each proof no longer.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import resource
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import pytest

sys.path[:0] = [str(Path(__file__).parent)]

from networks import Network, network  # noqa: E402

import bellcrank  # noqa: E402
from bellcrank import Broken, Checked, Effort  # noqa: E402

COUNT = 200
FEWEST, MOST = 10, 350
SAMPLE = range(0, 100, 11)
"""Those that the campaign tries."""


def numbered(number: int) -> Network:
    """One of the networks; their fittings grow from few to many by equal factors."""
    return network(number, round(FEWEST * (MOST / FEWEST) ** (number / (COUNT - 1))))


def checked(drawn: Network, effort: Effort) -> Checked:
    compiled = bellcrank.compile(drawn.text)
    assert not isinstance(compiled, Broken), (drawn.text, compiled.diagnostics)
    return bellcrank.prove(compiled, effort)


@pytest.mark.parametrize("number", range(0, 60, 10))
def test_a_network_compiles_without_a_warning(number: int) -> None:
    compiled = bellcrank.compile(numbered(number).text)
    assert not isinstance(compiled, Broken) and not compiled.diagnostics, compiled.diagnostics


def test_the_same_number_draws_the_same_network() -> None:
    assert numbered(7) == numbered(7)
    assert numbered(7).text != numbered(8).text


def test_it_draws_the_same_in_every_process() -> None:
    """Python gives words other places in its sets each time."""
    draw = "from test_networks import numbered; print(numbered(60).text)"
    texts = {
        subprocess.run(
            [sys.executable, "-c", draw],
            cwd=Path(__file__).parent,
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": os.pathsep.join(sys.path)},
            capture_output=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(texts) == 1


def test_networks_have_fittings_of_every_kind_and_rings() -> None:
    kinds: Counter[str] = Counter()
    rings = 0
    for number in range(0, 60, 6):
        lines = numbered(number).text.splitlines()
        joints = [line for line in lines if line.startswith("run ") and line.count(".") == 2]
        fittings = [line for line in lines if line[0] not in "lr"]
        kinds.update(" ".join(line.split()[:-1]).partition(" F")[0] for line in fittings)
        # More lines between fittings than a tree of them has: some of these make a ring.
        rings += len(joints) >= len(fittings)
    assert rings >= 7
    assert set(kinds) == {
        "points", "three way points", "fixed diamond", "single slip", "double slip"
    }  # fmt: skip


@pytest.mark.campaign
@pytest.mark.parametrize("number", SAMPLE)
def test_a_network_is_proved(number: int) -> None:
    found = checked(numbered(number), Effort())
    assert found.outcome == "proved", [
        (r.name, r.outcome, r.open[:3]) for r in found.moving.results if r.outcome == "undecided"
    ]


# -------------------------------------------------------------------- all of them


def _row(number: int, seconds: float | None) -> str:
    """One line of the table, made by a process that does nothing else."""
    drawn = numbered(number)
    used = resource.getrusage(resource.RUSAGE_SELF)
    began = used.ru_utime + used.ru_stime
    found = checked(drawn, Effort(seconds=seconds))
    used = resource.getrusage(resource.RUSAGE_SELF)
    workers = resource.getrusage(resource.RUSAGE_CHILDREN)
    took = used.ru_utime + used.ru_stime + workers.ru_utime + workers.ru_stime - began
    left = ", ".join(r.name for r in found.moving.results if r.outcome == "undecided")
    return (
        f"{number:>7}{drawn.fittings:>9}{len(found.table.routes):>8}  {found.outcome:<10}"
        f"{took:>8.1f}{used.ru_maxrss // 1024:>9}  {left}"
    )


def _main() -> None:
    options = argparse.ArgumentParser()
    options.add_argument("--every", type=int, default=1)
    options.add_argument("--from", type=int, default=0, dest="first")
    options.add_argument("--to", type=int, default=COUNT)
    options.add_argument("--seconds", type=float)
    chosen = options.parse_args()
    print(f"{'number':>7}{'fittings':>9}{'routes':>8}  {'verdict':<10}{'CPU s':>8}{'peak MB':>9}")
    outcomes: Counter[str] = Counter()
    with multiprocessing.get_context("spawn").Pool(1, maxtasksperchild=1) as pool:
        for number in range(chosen.first, chosen.to, chosen.every):
            row = pool.apply(_row, (number, chosen.seconds))
            outcomes[row.split()[3]] += 1
            print(row, flush=True)
    print(", ".join(f"{count} {outcome}" for outcome, count in outcomes.items()))


if __name__ == "__main__":
    began = time.monotonic()
    _main()
    print(f"{time.monotonic() - began:.0f} s in all")
