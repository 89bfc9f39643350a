"""How little a picture changes for one line more: `python tests/bench/stability.py`.

Into every layout of `picture/kinds_of_layout.py` a siding is put at each piece in turn, at most
six times. Of all pairs of elements that lie one above the other in both pictures, it counts
those that still lie the same way round.
"""

from __future__ import annotations

import itertools
import sys
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from picture.kinds_of_layout import KINDS
from picture.read_back import Drawn, read_picture

import bellcrank
from bellcrank import Sound
from bellcrank.picture import draw

MOST_SIDINGS = 6


def with_sidings(text: str) -> Iterator[str]:
    """The text with a siding more, at another piece each time."""
    lines = text.replace(" -\n    ", " - ").splitlines()
    made = 0
    for number, line in enumerate(lines):
        items = line.removeprefix("run ").split(" - ")
        for k, item in enumerate(items[1:-1], start=1):
            if line.startswith("run ") and item.isidentifier() and made < MOST_SIDINGS:
                made += 1
                here = [
                    "points NEW",
                    f"run {' - '.join(items[: k + 1])} - NEW.toe",
                    f"run NEW.straight - {' - '.join(['NEWX', *items[k + 1 :]])}",
                    "run NEW.diverging - <NEWS - NEWT - stop",
                ]
                yield "\n".join([*lines[:number], *here, *lines[number + 1 :]]) + "\n"


def rows(picture: Drawn) -> dict[str, tuple[float, float, float]]:
    """Each element from left to right, and how far down its middle lies."""
    found = {}
    for name, ways in picture.elements.items():
        xs = [x for *_, line in ways for x, _ in line]
        line = ways[0][3]
        found[name] = (min(xs), max(xs), line[len(line) // 2][1])
    return found


def kept(one: Drawn, other: Drawn) -> tuple[int, int]:
    """Pairs that lie one above the other in both pictures, and those the same way round."""
    a, b = rows(one), rows(other)
    total = same = 0
    for first, second in itertools.combinations(a, 2):
        if first not in b or second not in b:
            continue
        pair = [(p[first], p[second]) for p in (a, b)]
        if all(min(x[1], y[1]) - max(x[0], y[0]) > 5 and abs(x[2] - y[2]) > 10 for x, y in pair):
            total += 1
            same += (pair[0][0][2] < pair[0][1][2]) == (pair[1][0][2] < pair[1][1][2])
    return total, same


if __name__ == "__main__":
    print(f"{'':36}pictures    pairs   the same way round")
    whole = [0, 0, 0]
    for name, text in KINDS.items():
        before = read_picture(draw(bellcrank.compile(text).layout))
        counted = [0, 0, 0]
        for changed in with_sidings(text):
            compiled = bellcrank.compile(changed)
            if isinstance(compiled, Sound):
                total, same = kept(before, read_picture(draw(compiled.layout)))
                counted = [counted[0] + 1, counted[1] + total, counted[2] + same]
        whole = [w + c for w, c in zip(whole, counted, strict=True)]
        if counted[1]:
            print(f"{name:36}{counted[0]:8}{counted[1]:9}{counted[2] / counted[1]:13.1%}")
    print(f"{'all':36}{whole[0]:8}{whole[1]:9}{whole[2] / whole[1]:13.1%}")
