"""Faults seeded into machines of irregular layouts, to see whether the proof finds them.

As `machine_faults.py` does it, on layouts that nobody made for it: the sound ones of the corpus,
random networks, and the random railways in which every feature of the language comes up, as
far as they are proved without a fault. Where there are too many states to look at, random
runs are played beside a search of the nearest ones.

    python tests/proof/irregular_faults.py                  # 10,000 faults, with their table
    python tests/proof/irregular_faults.py --faults 500     # fewer, spread as evenly
    BELLCRANK_FAULTS=10000 pytest -m campaign tests/proof/test_irregular_faults.py
"""

from __future__ import annotations

import argparse
import signal
import sys
import time
import tomllib
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import cache, partial
from itertools import count
from multiprocessing import get_context
from pathlib import Path

TESTS = Path(__file__).parents[1]
sys.path[:0] = [str(TESTS), str(TESTS / "corpus"), str(TESTS / "outside"), str(TESTS / "proof")]

from cpu_time import limits_count_cpu_time  # noqa: E402
from machine_faults import Campaign, faults, machine_of, outcomes_of  # noqa: E402
from networks import network  # noqa: E402
from random_railways import random_railway  # noqa: E402
from random_runs import Runs  # noqa: E402

import bellcrank  # noqa: E402
from bellcrank.machine.machine_model import Machine  # noqa: E402
from bellcrank.proof.moving.moving_proof import Effort, prove_moving  # noqa: E402

CORPUS = TESTS / "corpus"

FAULTS = 10_000

MOST_STATES = 3_000
"""States that are looked at, and that the proof may look at, of each faulty machine."""

SECONDS, SECONDS_SOUND = 10, 3
"""Of CPU time, for the proof of each, and of the machine without a fault."""

MOST_ROUTES = 60
"""Of a layout of the corpus; with more, each fault takes many seconds."""

FITTINGS = range(10, 18)
"""Of the networks: one of each size."""

OF_CORPUS, OF_NETWORKS = 0.15, 0.02
"""Their shares of all faults; the rest is for random railways."""

FEWEST, EACH = 8, 60
"""Faults seeded in one layout, if there are so many."""

AT_ONCE = 16
"""Random railways that are handed out together."""


@dataclass(frozen=True, slots=True)
class Job:
    """A layout in which so many faults are seeded. seed: of a network or a random railway."""

    name: str
    most: int
    compiled: Callable[[], bellcrank.Broken | bellcrank.Sound]


@cache
def sound_of_corpus() -> tuple[str, ...]:
    """The layouts of the corpus that are proved and not too large."""
    rows = tomllib.loads((CORPUS / "expected.toml").read_text(encoding="utf-8"))
    return tuple(
        name
        for name, row in rows.items()
        if row["verdict"] == "proved" and row["routes"] <= MOST_ROUTES
    )


def of_corpus(name: str) -> bellcrank.Broken | bellcrank.Sound:
    return bellcrank.compile_file(CORPUS / name)


def of_network(fittings: int) -> bellcrank.Broken | bellcrank.Sound:
    return bellcrank.compile(network(fittings, fittings).text)


def of_railway(seed: int) -> bellcrank.Broken | bellcrank.Sound:
    return bellcrank.compile(random_railway(seed))


def chosen(wanted: int) -> Iterator[Job]:
    """The jobs of the corpus and the networks: their share of the faults, evenly over as many
    layouts as can have some each."""
    corpus = [Job(name, 0, partial(of_corpus, name)) for name in sound_of_corpus()]
    networks = [Job(f"network of {n}", 0, partial(of_network, n)) for n in FITTINGS]
    for share, jobs in ((OF_CORPUS, corpus), (OF_NETWORKS, networks)):
        faults = max(1, round(share * wanted))
        layouts = min(len(jobs), -(-faults // FEWEST))
        for n in range(layouts):
            yield replace(jobs[n * len(jobs) // layouts], most=min(EACH, -(-faults // layouts)))


def railways(first: int, wanted: int) -> Iterator[Job]:
    """Random railways from a number on."""
    each = max(1, min(EACH, wanted // 10))
    for seed in range(first, first + AT_ONCE):
        yield Job(f"random railway {seed}", each, partial(of_railway, seed))


def sound(machine: Machine) -> bool:
    """Whether everything is proved without a fault."""
    verdict = prove_moving(machine, Effort(seconds=SECONDS_SOUND, search=MOST_STATES))
    return set(outcomes_of(verdict, machine).values()) == {"proved"}


def tried(job: Job) -> Campaign:
    """What came of the faults in one layout."""
    campaign = Campaign(most=MOST_STATES, seconds=SECONDS, runs=Runs())
    compiled = job.compiled()
    if isinstance(compiled, bellcrank.Sound):
        machine = machine_of(compiled)
        if sound(machine):
            every = -(-sum(1 for _ in faults(machine)) // job.most)
            campaign.try_all(machine, job.name, max(1, every))
    return campaign


def add(total: Campaign, other: Campaign) -> None:
    """Count what came of one layout among all."""
    for kind, counts in other.seen.items():
        total.seen.setdefault(kind, Counter()).update(counts)
    total.layouts += other.layouts
    total.states += other.states
    total.wrong += other.wrong
    total.undecided += other.undecided


def campaign(
    wanted: int,
    workers: int,
    tell: Callable[[Job], None] = lambda job: None,
    total: Campaign | None = None,
) -> Campaign:
    """At least so many faults, if there are as many in the corpus and the networks; they are
    counted in `total`."""
    total = total or Campaign()
    with ProcessPoolExecutor(workers, get_context("spawn"), limits_count_cpu_time) as pool:

        def run(jobs: list[Job]) -> None:
            for job, done in zip(jobs, pool.map(tried, jobs), strict=True):
                add(total, done)
                tell(job)

        jobs = list(chosen(wanted))
        left = wanted - sum(job.most for job in jobs)
        for first in count(0, AT_ONCE):
            run(list(railways(first, wanted)))
            if total.total["seeded"] >= left:
                break
        run(jobs)
    return total


def main() -> None:
    arguments = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    arguments.add_argument("--faults", type=int, default=FAULTS)
    arguments.add_argument("--workers", type=int, default=2, help="processes")
    given = arguments.parse_args()
    began = time.monotonic()
    total = Campaign()
    told: list[str] = []

    def tell(job: Job) -> None:
        seconds = time.monotonic() - began
        number = total.total["seeded"]
        print(f"{seconds:6.0f} s {number:6,} faults, {job.name} done", file=sys.stderr, flush=True)
        for words in total.wrong[len(told) :]:
            told.append(words)
            print(f"proof and states disagree: {words}", file=sys.stderr, flush=True)

    # A shell ignores Ctrl-C for what it runs in the background, and this runs long.
    for stop in (signal.SIGINT, signal.SIGTERM):
        signal.signal(stop, signal.default_int_handler)
    try:
        campaign(given.faults, given.workers, tell, total)
    except KeyboardInterrupt:
        print("stopped; so far:")
    print(total.table())
    print(f"\n{total.total['seeded']:,} faults in {total.layouts} layouts")
    for what, listed in (
        ("undecided", total.undecided),
        ("proof and states disagree", total.wrong),
    ):
        if listed:
            print(f"\n{what}:", *listed, sep="\n  ")
    sys.exit(bool(total.wrong))


if __name__ == "__main__":
    main()
