"""The campaign: `send` as a real process, disturbed at many moments left to chance.

    pytest -m campaign tests/campaigns/test_sending.py -n 0 -s

prints how the runs ended. BELLCRANK_SEED=… takes the moments of an earlier campaign again, as
near as the machine's own timing lets it.
"""

from __future__ import annotations

import os
import random
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import SimpleQueue

import pytest
from disturbances import KINDS, Disturbance
from disturbed_runs import Loaded
from peers import needs_broker

RUNS = {
    "a serial line is unplugged": 36,
    "a network line is cut": 24,
    "a broker is killed and comes back": 24,
    "the process is told to stop": 36,
    "a peer stalls": 15,
}

AT_ONCE = 12
"""Runs at the same time; most of them wait."""

Programs = SimpleQueue[Loaded]


@pytest.fixture(scope="module")
def programs() -> Iterator[Programs]:
    waiting: Programs = SimpleQueue()
    for _ in range(AT_ONCE):
        waiting.put(Loaded())
    yield waiting
    for _ in range(AT_ONCE):
        waiting.get().close()


@pytest.mark.campaign
@needs_broker
@pytest.mark.parametrize("kind", KINDS, ids=str)
def test_whenever_it_is_disturbed_signals_are_at_stop_or_told_as_not(
    kind: Disturbance, programs: Programs, tmp_path: Path
) -> None:
    seed = os.environ.get("BELLCRANK_SEED") or os.urandom(4).hex()
    begun = time.monotonic()

    def run(number: int) -> str:
        program = programs.get()
        try:
            return kind.run(program, tmp_path / str(number), random.Random(f"{seed} {number}"))
        except AssertionError as error:
            return f"WRONG: run {number} of seed {seed}: {error}"
        finally:
            programs.put(program)

    with ThreadPoolExecutor(AT_ONCE) as pool:
        ends = list(pool.map(run, range(RUNS[kind.name])))
    wrong = [end for end in ends if end.startswith("WRONG")]
    counted = Counter(end for end in ends if end not in wrong)
    told = ", ".join(f"{number} {end}" for end, number in counted.most_common())
    print(f"\n{kind}: {len(ends)} runs in {time.monotonic() - begun:.0f} s: {told}")
    assert not wrong, "\n".join(wrong)
    # Moments that all fell before or after what is sent would show nothing.
    assert counted["lost"] + counted["stopped"] >= len(ends) // 5, told
