"""Random networks from another hand: those that flatland-rl draws on a grid.

A general-purpose simulator of trains (PyPI, flatland-rl) draws stations and the lines between
them. It needs older libraries than ours, so it belongs to no extra of this project, and without
it these tests skip; it is enough that it can be imported. What it draws is a number for each
square, sixteen bits: for each way that a train heads, by which sides it may go on. That becomes
the ways through squares of `networks`, which puts signals to it.

    python tests/corpus/test_gridded.py 40      so many networks, with a table
"""

from __future__ import annotations

import random
import sys
from collections import Counter
from pathlib import Path

import pytest

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

from cpu_time import cpu_seconds  # noqa: E402
from networks import ACROSS, Network, Port, Square, Way, on_paper  # noqa: E402
from sound_layouts import checked  # noqa: E402

from bellcrank import Effort  # noqa: E402

HEADINGS = "NESW"
"""In the order of the bits, from the highest."""

Squares = dict[Square, int]


def ways_of(bits: int) -> tuple[frozenset[Way], str]:
    """The ways through a square, and at which side of it track ends; empty if at none."""
    ways: set[Way] = set()
    stop = ""
    for n, heading in enumerate(HEADINGS):
        for m, goes_on in enumerate(HEADINGS):
            if not bits >> (15 - 4 * n - m) & 1:
                continue
            if goes_on == ACROSS[heading]:
                # A train that turns round stands at the end of track.
                stop = heading
                ways.add(frozenset((heading, goes_on)))
            else:
                ways.add(frozenset((ACROSS[heading], goes_on)))
    return frozenset(ways), stop


def gridded(seed: int, squares: Squares, width: int, height: int) -> Network:
    """The network that numbers on a grid tell of."""
    ways: dict[Square, frozenset[Way]] = {}
    ends: dict[Port, str] = {}
    for square, bits in squares.items():
        ways[square], stop = ways_of(bits)
        if stop:
            ends[square, stop] = "stop"
    return on_paper(random.Random(seed), seed, ways, ends, width, height)


def drawn(seed: int) -> Network:
    """A network of flatland-rl; the greater the number, the more stations it has."""
    numpy_random = pytest.importorskip("numpy.random")
    generators = pytest.importorskip("flatland.envs.rail_generators")
    side = 25 + seed % 20
    generate = generators.sparse_rail_generator(
        max_num_cities=2 + seed % 5, max_rails_between_cities=2, max_rail_pairs_in_city=2
    )
    rail, _ = generate(side, side, 2, 0, numpy_random.RandomState(seed))
    squares = {
        (x, y): int(bits)
        for y, row in enumerate(rail.grid)
        for x, bits in enumerate(row)
        if bits
    }  # fmt: skip
    return gridded(seed, squares, side, side)


def test_numbers_on_a_grid_become_the_track_that_they_tell_of() -> None:
    # Points in the middle of three stops: the toe to the west, the straight road to the east.
    squares = {
        (0, 0): 0b0000_0000_0000_0100,  # heading west, a train turns to go east
        (1, 0): 0b0001_0110_0000_0001,  # north to west; east to east and south; west to west
        (2, 0): 0b0000_0001_0000_0000,
        (1, 1): 0b0000_0000_1000_0000,
    }
    text = gridded(1, squares, 3, 2).text
    assert text.splitlines()[1:5] == [
        "points F1",
        "run stop - T1 - >S1 - F1.toe",
        "run stop - T2 - >S2 - F1.straight",
        "run stop - T3 - >S3 - F1.diverging",
    ]


@pytest.mark.campaign
@pytest.mark.parametrize("seed", range(1, 4))
def test_a_network_from_another_hand_is_proved(seed: int) -> None:
    found = checked(drawn(seed).text)
    assert found.outcome == "proved", [
        (r.name, r.outcome, r.open[:3]) for r in found.moving.results if r.outcome == "undecided"
    ]


def _main() -> None:
    outcomes: Counter[str] = Counter()
    print(f"{'number':>7}{'fittings':>9}{'routes':>8}  {'verdict':<10}{'CPU s':>8}")
    for seed in range(int(sys.argv[1])):
        network = drawn(seed)
        began = cpu_seconds()
        found = checked(network.text, Effort(seconds=300))
        outcomes[found.outcome] += 1
        print(
            f"{seed:>7}{network.fittings:>9}{len(found.table.routes):>8}  {found.outcome:<10}"
            f"{cpu_seconds() - began:>8.1f}",
            flush=True,
        )
    print(", ".join(f"{count} {outcome}" for outcome, count in outcomes.items()))


if __name__ == "__main__":
    _main()
