"""What the proof of a controller costs beside that of its locking alone, as a table in Markdown.

    python tests/bench/controlled.py                      all; takes a minute or two
    python tests/bench/controlled.py "harbour terminus"   one of them

Each row is measured in a process of its own. Alone is what `check` does: from the text to the
verdicts on the locking, as routes stand and as trains move. With its controller is what `check
--controller` does: the same, and then the proof of controller and railway together. Both are
measured in one run, one after the other, and each counts everything from the text on; seconds are
those of the processors, of all processes of the run. What is loaded but once is loaded before.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

TESTS = Path(__file__).parent.parent
sys.path[:0] = [str(TESTS), str(TESTS / "corpus")]

from bench.figures import network_numbered  # noqa: E402
from bench.generate import FAMILIES, TERMINUS, chain, with_routes  # noqa: E402
from bench.moving import apart  # noqa: E402
from cpu_time import cpu_seconds  # noqa: E402

EXAMPLES = TESTS.parent / "examples"

IRREGULAR = 50
"""The number of a network in tests/corpus/test_networks.py."""


def _example(name: str) -> str:
    return (EXAMPLES / f"{name}.crank").read_text(encoding="utf-8")


LAYOUTS: dict[str, Callable[[], str]] = {
    "harbour terminus": partial(_example, "harbour-terminus"),
    "turning loop": partial(_example, "turning-loop"),
    "four-track station": partial(_example, "four-track-station"),
    "terminus of six roads": lambda: TERMINUS,
    **{f"ladder of {roads}": partial(chain, 1, roads) for roads in (10, 20)},
    "irregular network": partial(network_numbered, IRREGULAR),
    **{f"{family}, 1,000": partial(with_routes, family, 1_000) for family in FAMILIES},
}
"""Texts by what is written in the first column."""


def measure(text: str) -> dict[str, float]:
    """CPU seconds of the proof alone and with the controller, of a layout that is proved."""
    import bellcrank

    bellcrank.prove(bellcrank.compile(_example("turning-loop")), controller=True)
    found: dict[str, float] = {}
    for name, controller in (("alone", False), ("with", True)):
        began = cpu_seconds()
        compiled = bellcrank.compile(text)
        assert isinstance(compiled, bellcrank.Sound)
        proved = bellcrank.prove(compiled, controller=controller)
        found[name] = cpu_seconds() - began
        assert proved.proved
        found["routes"] = len(compiled.table.routes)
        found["obligations"] = proved.moving.obligations
        if proved.controlled is not None:
            found["further"] = proved.controlled.obligations
        del compiled, proved  # the next run is to find the memory as this one did
    return found


HEAD = (
    "| layout | routes | obligations | of the controller | alone, s | with it, s | ratio |\n"
    "| --- | ---: | ---: | ---: | ---: | ---: | ---: |"
)


def row(name: str, found: dict[str, float]) -> str:
    """A row of the table."""
    return (
        f"| {name} | {found['routes']:,.0f} | {found['obligations']:,.0f} "
        f"| {found['further']:,.0f} | {found['alone']:,.2f} | {found['with']:,.2f} "
        f"| {found['with'] / found['alone']:.1f} |"
    )


def measure_apart(name: str) -> dict[str, float]:
    """`measure` in a fresh process."""
    return apart(__file__, "--one", name)


def main() -> None:
    options = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    options.add_argument("names", nargs="*", metavar="LAYOUT")
    options.add_argument("--one", help=argparse.SUPPRESS)
    chosen = options.parse_args()
    unknown = [name for name in chosen.names if name not in LAYOUTS]
    if unknown:
        options.error(f"{unknown[0]!r} is not among: {', '.join(LAYOUTS)}")
    if chosen.one:
        print(json.dumps(measure(LAYOUTS[chosen.one]())))
        return
    print(HEAD, flush=True)
    for name in chosen.names or LAYOUTS:
        print(row(name, measure_apart(name)), flush=True)


if __name__ == "__main__":
    main()
