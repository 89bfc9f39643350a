"""A campaign of random railways: what is proved of them never happens in a simulator.

    python tests/campaigns/simulated.py                # 3,000 railways
    python tests/campaigns/simulated.py 500            # so many
    python tests/campaigns/simulated.py 40 2026        # so many from this number on

Each is drawn by `random_railways`, proved within two seconds of CPU time, and played element
by element by the simulator of tests/outside: a property that is proved and yet violated, or a
story that the simulator does not bear out, is printed with the number and the text of the
railway.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

TESTS = Path(__file__).parents[1]
sys.path[:0] = [str(TESTS), str(TESTS / "outside")]

from cpu_time import limits_count_cpu_time  # noqa: E402
from machine_and_simulator import SAFETY, compare, twice  # noqa: E402
from random_railways import random_railway  # noqa: E402

from bellcrank.proof.moving.moving_proof import Effort  # noqa: E402

FIRST = 100_000
"""Above the numbers that the tests draw."""

EFFORT = Effort(seconds=2, search=3_000)


def one(seed: int) -> tuple[Counter[str], list[str]]:
    """What came of one railway, and what is wrong with that."""
    both = twice(random_railway(seed))
    if both is None:
        return Counter({"railways with errors": 1}), []
    found = compare(both, seed, EFFORT, steps=400, runs=25)
    counts = Counter({"railways": 1, "acts played": found.played.steps})
    for name in SAFETY:
        counts[f"{name} {found.outcomes[name]}"] += 1
        counts[f"{name} violated by the simulator"] += name in found.played.wrong
    counts["all of safety proved"] += all(found.outcomes[name] == "proved" for name in SAFETY)
    wrong = [*found.false_proofs.values()]
    wrong += [f"{name}: {why}" for name, why in found.not_retold.items()]
    return counts, [f"number {seed}: {text}\n{both.text}" for text in wrong]


def campaign(count: int, first: int = FIRST) -> tuple[Counter[str], list[str]]:
    """Many railways, spread over two processes."""
    counts: Counter[str] = Counter()
    wrong: list[str] = []
    with ProcessPoolExecutor(2, get_context("spawn"), limits_count_cpu_time) as pool:
        for some, bad in pool.map(one, range(first, first + count), chunksize=10):
            counts += some
            for text in bad:
                print(text, flush=True)
            wrong += bad
    return counts, wrong


if __name__ == "__main__":
    began = time.monotonic()
    results, wrongs = campaign(*(int(word) for word in sys.argv[1:3] or ["3000"]))
    for what, number in sorted(results.items()):
        print(f"{what}: {number:,}")
    print(f"{len(wrongs)} wrong, in {time.monotonic() - began:.0f} s")
    sys.exit(bool(wrongs))
