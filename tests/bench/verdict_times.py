"""What the proof beside an editor takes after one line has changed, by the kind of line:
`python tests/bench/verdict_times.py`.

A text is proved from nothing and then proved with one line changed, three times for each kind of
line; printed is the median of the CPU time until the verdict of the changed text is there.
`--routes 0` measures the four-track station alone.
"""

from __future__ import annotations

import argparse
import gc
import statistics
import sys
import time
from collections.abc import Mapping
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.generate import with_routes

from bellcrank.editing.proof_messages import Asked, Verdict
from bellcrank.editing.proof_worker import Work
from bellcrank.proof.kept.kept_model import InMemory
from bellcrank.proof.memory import Memory

STATION = Path(__file__).parents[2] / "examples" / "four-track-station.crank"

Change = tuple[str, str]
"""A text that stands once, and what is put for it."""

ON_THE_STATION: Mapping[str, Change] = {
    "a remark": ("\nlocking derive", "\n# a remark\nlocking derive"),
    "a decoder": ("K5 servo at 9", "K5 servo at 13"),
    "the output of a signal": ("signal D4 = K4.4", "signal D4"),
    "an expectation": ("expect H0 to H1 with D4 to UP", "expect H0 to H1 with D4 to COAL"),
    "an overlap": ("overlap H1 = PA\n", "overlap H1 = PA, PC\n"),
    "flank protection": ("flank derive\n", "\n"),
    "calling on": ("route CALL", "# route CALL"),
    "a piece of track": (" - T3", " - ONE_MORE - T3"),
}

ALONG_A_LINE: Mapping[str, Change] = {
    "a remark": ("points L60_1", "# a remark\npoints L60_1"),
    "a decoder": (
        "points L60_1",
        "decoder kind lamp { outputs 4 }\ndecoder K1 lamp at 7\npoints L60_1",
    ),
    "an overlap": ("points L60_1", "overlap E60_1 = R60_1\npoints L60_1"),
    "a piece of track": (" - T60_1 -", " - ONE_MORE - T60_1 -"),
}

TIMES = 3


def measured(work: Work, text: str) -> float:
    """Seconds of CPU time until the verdict is there."""
    begun = time.process_time()
    (answer,) = work.answers(Asked("untitled:x", False, {"untitled:x": text}))
    used = time.process_time() - begun
    assert isinstance(answer, Verdict), answer
    assert answer.findings[0].outcome == "proved", answer
    work.memory.settle()
    gc.collect()
    return used


def table(name: str, text: str, changes: Mapping[str, Change]) -> None:
    print(f"{name}: from nothing {measured(Work(Memory(InMemory())), text):.2f} s")
    for line, (old, new) in changes.items():
        assert text.count(old) == 1, old
        used = []
        for _ in range(TIMES):
            work = Work(Memory(InMemory()))
            measured(work, text)
            used.append(measured(work, text.replace(old, new)))
        print(f"  {line:24}{statistics.median(used):8.3f} s")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--routes", type=int, default=1_000, help="of a line of passing loops")
    routes = parser.parse_args().routes
    gc.disable()  # as in the process that proves
    table("four-track station", STATION.read_text("utf-8"), ON_THE_STATION)
    if routes:
        text = with_routes("passing loops", routes)
        table(f"passing loops, {routes:,} routes", text, ALONG_A_LINE)


main()
