"""The figures of DEVELOPERS.md: CPU time and memory of the moving proof, as a table in Markdown.

    python tests/bench/figures.py                      all; takes some minutes
    python tests/bench/figures.py "ladder of 40"       one of them
    python tests/bench/figures.py --large              of 100,000 routes, which takes long

Each row is measured in a process of its own, from the text to the verdict. Cells are those of the
control table, one for each section of each route: what there is to be proved. Seconds are those of
the processors, of all its processes; so is the peak of memory. That of the corpus is the sum
of its layouts, sound and unsound ones, and the most memory that one of them took.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from collections.abc import Callable
from functools import partial
from pathlib import Path

TESTS = Path(__file__).parent.parent
sys.path[:0] = [str(TESTS), str(TESTS / "corpus")]

from bench.generate import FAMILIES, TERMINUS, chain, with_routes  # noqa: E402
from bench.moving import apart, measure  # noqa: E402
from cpu_time import cpu_seconds  # noqa: E402

LARGE = {"irregular network": 180, "larger irregular network": 199}
"""Numbers of networks in tests/corpus/test_networks.py, of about 1,100 and
1,800 routes; the larger one has 350 fittings."""


def network_numbered(number: int) -> str:
    """A random network; drawing it is not measured."""
    from test_networks import numbered

    return numbered(number).text


LAYOUTS: dict[str, Callable[[], str]] = {
    **{f"ladder of {roads}": partial(chain, 1, roads) for roads in (5, 10, 20, 40)},
    "terminus": lambda: TERMINUS,
    **{name: partial(network_numbered, number) for name, number in LARGE.items()},
    **{
        f"{family}, {routes:,}": partial(with_routes, family, routes)
        for family in FAMILIES
        for routes in (1_000, 10_000)
    },
}
"""Texts by what is written in the first column."""

LARGEST = {"passing loops, 100,000": partial(with_routes, "passing loops", 100_000)}
"""The same, of what takes long and much memory."""


def measure_corpus() -> dict[str, float]:
    """The whole corpus, one layout after the other; every verdict must be the expected one."""
    from test_corpus import corpus

    import bellcrank

    began = cpu_seconds()
    sums: Counter[str] = Counter()
    for name, expected in corpus().items():
        compiled = bellcrank.compile_file(TESTS / "corpus" / name)
        assert not isinstance(compiled, bellcrank.Broken), name
        found = bellcrank.prove(compiled)
        sums["unexpected"] += found.outcome != expected.verdict
        sums["routes"] += len(found.table.routes)
        sums["cells"] += sum(len(route.sections) for route in found.table.routes.values())
        sums["obligations"] += found.moving.obligations
    print(f"unexpected verdicts: {sums['unexpected']}", file=sys.stderr)
    return {
        "routes": sums["routes"],
        "cells": sums["cells"],
        "obligations": sums["obligations"],
        "cpu": cpu_seconds() - began,
    }


def row(name: str, found: dict[str, float]) -> str:
    """A row of the table."""
    return (
        f"| {name} | {found['routes']:,.0f} | {found['cells']:,.0f} | {found['obligations']:,.0f} "
        f"| {found['cpu']:,.1f} | {found['megabytes']:,.0f} |"
    )


HEAD = (
    "| layout | routes | cells | obligations | CPU s | peak MB |\n"
    "| --- | ---: | ---: | ---: | ---: | ---: |"
)


def table(names: list[str]) -> None:
    """Print the rows of these layouts."""
    print(HEAD, flush=True)
    for name in names:
        print(row(name, apart(__file__, "--one", name)), flush=True)


def one(name: str) -> dict[str, float]:
    """A single measurement, in this process."""
    if name == "corpus":
        return measure_corpus()
    return measure({**LAYOUTS, **LARGEST}[name]())


def main() -> None:
    options = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    options.add_argument("names", nargs="*", metavar="LAYOUT")
    options.add_argument("--large", action="store_true")
    options.add_argument("--one", help=argparse.SUPPRESS)
    chosen = options.parse_args()
    every = [*LAYOUTS, "corpus"]
    unknown = [name for name in chosen.names if name not in every]
    if unknown:
        options.error(f"{unknown[0]!r} is not among: {', '.join(every)}")
    if chosen.one:
        print(json.dumps(one(chosen.one)))
    elif chosen.large:
        table([*LARGEST])
    else:
        table(chosen.names or every)


if __name__ == "__main__":
    main()
