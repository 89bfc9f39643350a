"""Many hours of railways in continuous time, run by the controllers that are proved.

    python tests/campaigns/clocked.py                 # 1,000 hours
    python tests/campaigns/clocked.py 50              # so many
    python tests/campaigns/clocked.py --faults 100    # a table of what comes of broken assumptions
    python tests/campaigns/clocked.py --noticed 200   # the same beside what is decided of them
    python tests/campaigns/clocked.py --mutants       # controllers without a part of a guard

A third of the hours each are spent on the sound examples, on the sound layouts of tests/corpus
and on random railways that are proved.
Every accident, alarm, stuck train and arrival that had to be confirmed though reports could have
shown it is printed, with the number from which it can be played again.
"""

from __future__ import annotations

import sys
import time
import tomllib
from collections import Counter, defaultdict
from collections.abc import Iterator
from pathlib import Path
from statistics import median
from typing import Any

TESTS = Path(__file__).parents[1]
sys.path[:0] = [str(TESTS), str(TESTS / "outside")]

from clocked_documents import document_of, document_of_file  # noqa: E402
from clocked_faults import KINDS, OUTCOMES, broken  # noqa: E402
from clocked_mutants import mutants  # noqa: E402
from clocked_noticed import disagreements  # noqa: E402
from clocked_operator import railway  # noqa: E402
from random_railways import random_railway  # noqa: E402

import bellcrank  # noqa: E402
from bellcrank import Effort, Sound  # noqa: E402
from bellcrank.controller.breakings import BREAKINGS  # noqa: E402
from bellcrank.controller.composition import compose  # noqa: E402
from bellcrank.proof.noticed import what_is_noticed  # noqa: E402
from bellcrank.proof.noticed_words import before_words  # noqa: E402

EXAMPLES = TESTS.parent / "examples"

CORPUS = TESTS / "corpus"

MOST_ROUTES = 150

SOUND = ("harbour-terminus", "hand-worked-branch", "turning-loop", "four-track-station")

EFFORT = Effort(seconds=2, search=500)

FIRST = 200_000
"""Above the numbers that the tests draw."""

RUNS_EACH = 3
"""Runs of one random railway: 1,000 hours are spent on more than fifty of them."""


def play(document: dict[str, Any], name: str, seed: int, hours: float) -> tuple[Counter[str], str]:
    """What was seen in so many hours of one railway, and what is wrong with it."""
    world, operator = railway(document, seed)
    operator.begin()
    world.until(hours * 3600)
    seen = world.seen
    wrong = [f"accident {seen.accident}"] if seen.accident else []
    wrong += [f"alarm {seen.alarm}"] if seen.alarm else []
    wrong += seen.wrong[:3]
    wrong += [f"had to be confirmed: {operator.confirmed}"] if operator.confirmed else []
    counts = Counter(seen.counts)
    counts["seconds"] = round(world.now)
    return counts, f"{name}, seed {seed}: {'; '.join(wrong)}" if wrong else ""


def proved_railways(first: int) -> Iterator[tuple[int, dict[str, Any]]]:
    """Random railways that are proved, from this number on, without end."""
    seed = first
    while True:
        compiled = bellcrank.compile(random_railway(seed))
        if isinstance(compiled, Sound) and bellcrank.prove(compiled, EFFORT, seconds=3).proved:
            yield seed, document_of(compiled)
        seed += 1


def sound_corpus() -> list[Path]:
    """The sound layouts of the corpus, except the largest."""
    rows = tomllib.loads((CORPUS / "expected.toml").read_text(encoding="utf-8"))
    return [
        CORPUS / name
        for name, row in rows.items()
        if row["verdict"] == "proved" and row["routes"] <= MOST_ROUTES
    ]


def campaign(
    hours: float, first: int = FIRST, runs: int = 300
) -> tuple[Counter[str], list[str], float]:
    """Many hours, in so many runs or, as none is longer than two, more: what was seen, what was
    wrong, and the CPU seconds that the railways took."""
    counts: Counter[str] = Counter()
    wrong: list[str] = []
    cpu = 0.0

    def note(document: dict[str, Any], name: str, seed: int, hours: float) -> None:
        nonlocal cpu
        begun = time.process_time()
        seen, bad = play(document, name, seed, hours)
        cpu += time.process_time() - begun
        counts.update(seen)
        if bad:
            print(bad, flush=True)
            wrong.append(bad)

    each = min(2.0, hours / runs)
    share = round(hours / 3 / each)
    examples = {name: document_of_file(EXAMPLES / f"{name}.crank") for name in SOUND}
    for run in range(share):
        name = SOUND[run % len(SOUND)]
        note(examples[name], name, first + run, each)
    paths = sound_corpus()
    chosen = paths[:: max(1, -(-len(paths) // share))]
    for place, path in enumerate(chosen):
        document = document_of_file(path)
        for run in range(place, share, len(chosen)):
            note(document, path.parent.name, first + run, each)
    railways = proved_railways(first)
    for _ in range(share // RUNS_EACH):
        seed, document = next(railways)
        counts["random railways"] += 1
        for run in range(RUNS_EACH):
            note(document, f"random railway {seed}", run, each)
    return counts, wrong, cpu


def table_of_faults(runs: int) -> None:
    """What comes of each broken assumption, on each example."""
    for name in SOUND:
        document = document_of_file(EXAMPLES / f"{name}.crank")
        print(f"\n{name}, {runs} runs each")
        print(f"{'':25}" + "".join(f"{kind:>18}" for kind in OUTCOMES) + "   alarm after, s")
        for kind in KINDS:
            found = [broken(document, kind, seed) for seed in range(runs)]
            counts = Counter(outcome.kind for outcome in found if outcome is not None)
            after = [o.after for o in found if o and o.kind == "alarm" and o.after is not None]
            late = f"   median {median(after):.0f}, most {max(after):.0f}" if after else ""
            print(f"{kind:25}" + "".join(f"{counts[o]:18}" for o in OUTCOMES) + late, flush=True)


def as_decided(name: str, runs: int, progress: bool = False) -> tuple[Counter[str], list[str]]:
    """What came of so many broken assumptions of each kind on an example, and what of that the
    compiler had ruled out."""
    path = EXAMPLES / f"{name}.crank"
    compiled = bellcrank.compile_file(path)
    assert isinstance(compiled, Sound)
    decided = {}
    control = compiled.control
    composed = compose(control, compiled.machine)
    for one in what_is_noticed(control, composed, BREAKINGS, Effort()):
        decided[one.kind] = one
        if progress:
            print(f"  {one.kind}: alarm {one.alarm}; {before_words(one)}", flush=True)
    document = document_of_file(path)
    counts: Counter[str] = Counter()
    wrong: list[str] = []
    for kind in KINDS:
        for seed in range(runs):
            outcome = broken(document, kind, seed)
            if outcome is not None:
                counts["broken"] += 1
                counts[outcome.kind] += 1
                found = disagreements(kind, outcome, decided)
                wrong += [f"{name}, seed {seed}: {what}" for what in found]
    return counts, wrong


def table_of_mutants(seeds: int = 3) -> None:
    """What comes of controllers without a part of a guard, in so many hours each."""
    for name in SOUND[:3]:
        document = document_of_file(EXAMPLES / f"{name}.crank")
        counts: defaultdict[str, Counter[str]] = defaultdict(Counter)
        for mutant in mutants(document["controller"]):
            outcome = "nothing seen"
            for seed in range(seeds):
                world, operator = railway({**document, "controller": mutant.controller}, seed)
                operator.begin()
                world.until(3600)
                seen = world.seen
                if seen.accident or seen.alarm or seen.wrong:
                    outcome = (
                        "accident" if seen.accident else "alarm" if seen.alarm else "otherwise"
                    )
                    break
            counts[mutant.kind][outcome] += 1
        print(f"\n{name}")
        for kind, outcomes in counts.items():
            print(f"  {kind}: {dict(outcomes)}", flush=True)


def main(words: list[str]) -> int:
    if words[:1] == ["--faults"]:
        table_of_faults(int(words[1]) if len(words) > 1 else 100)
        return 0
    if words[:1] == ["--noticed"]:
        told = 0
        for name in SOUND:
            print(name, flush=True)
            found, wrong = as_decided(name, int(words[1]) if len(words) > 1 else 200, True)
            print(f"  {dict(found)}, {len(wrong)} wrong", *wrong, sep="\n  ", flush=True)
            told += len(wrong)
        return bool(told)
    if words[:1] == ["--mutants"]:
        table_of_mutants()
        return 0
    counts, wrong, cpu = campaign(float(words[0]) if words else 1_000.0)
    hours = counts.pop("seconds") / 3600
    for what, number in sorted(counts.items()):
        print(f"{what}: {number:,}")
    print(f"{hours:,.0f} hours, {len(wrong)} wrong, {hours / cpu:.0f} hours per CPU second")
    return bool(wrong)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
