"""Rings: ovals with a U-turn at either end, and which lies inside which.

Of two the earlier in the text is the outer one; a third lies inside the second. What track
joins comes before what it does not. It is a wish: rings are drawn side by side where more lines
would cross for it.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import networkx as nx

from bellcrank.picture.columns import Before
from bellcrank.picture.network import Network, Port
from bellcrank.picture.straight import lines_at, straights


@dataclass(frozen=True, slots=True)
class Ring:
    """Two straight lines that turn into each other at both ends.

    left, right: the U-turns. lines: a line of each.
    """

    left: int
    right: int
    lines: tuple[int, int]


Nested = tuple[Ring, Ring]
"""Two rings, the outer one first."""


def nested_rings(net: Network) -> list[list[Nested]]:
    """The rings that should lie one inside the other: all of them, those alone that track joins,
    and none, each once."""
    graph: nx.Graph = nx.Graph((line.start.node, line.end.node) for line in net.lines)
    part = {n: k for k, nodes in enumerate(nx.connected_components(graph)) for n in nodes}
    found: dict[int, list[Ring]] = {}
    for ring in _rings(net):
        found.setdefault(part[ring.left], []).append(ring)
    joined = [pair for listed in found.values() for pair in itertools.pairwise(listed)]
    every = list(itertools.pairwise(ring for listed in found.values() for ring in listed))
    return [pairs for pairs, _ in itertools.groupby((every, joined, []))]


def befores(nested: list[Nested]) -> list[Before]:
    """What must lie left of what for rings to lie one inside the other."""
    return [
        pair
        for outer, inner in nested
        for pair in ((outer.left, inner.left), (inner.right, outer.right))
    ]


def _rings(net: Network) -> list[Ring]:
    """All rings, in the order of the text."""
    at, made = lines_at(net), straights(net)
    turns: dict[tuple[str, frozenset[int]], tuple[int, tuple[int, int]]] = {}
    for node in net.nodes:
        if node.shape == "turn":
            ports = (Port(node.number, node.hand, k) for k in (0, 1))
            one, other = (at[port].number for port in ports)
            key = frozenset((made.of_line[one], made.of_line[other]))
            turns[node.hand, key] = node.number, (one, other)
    rings = [
        Ring(left, turns["left", key][0], lines)
        for (hand, key), (left, lines) in turns.items()
        if hand == "right" and ("left", key) in turns
    ]
    return sorted(rings, key=lambda ring: min(ring.lines))
