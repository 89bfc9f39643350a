"""What the layout wants drawn above what, as pairs of straight lines.

A wish holds for all that is drawn of the two side by side: a piece stands for the line
that it lies on, an edge for its line as well, a fitting for itself, and beside another
thing also for the lines that lead to it. Where two have no column in common, or share a
line, or a wish contradicts those before it, nothing can be done.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

import networkx as nx

from bellcrank.layout.layout_model import Above
from bellcrank.picture.network import Network
from bellcrank.picture.straight import Straights

Why = Literal["one line", "apart", "contrary", "crossing"]

Pair = tuple[int, int]
"""Two straight lines, by number, the upper first."""


@dataclass(frozen=True, slots=True)
class Unkept:
    """A wish that comes to nothing.

    why: both lie on one line, or no column has both ("apart"), or they are wanted
    the other way round by wishes about what lies on the same lines ("contrary"), or lines
    would have to cross for it ("crossing").
    """

    above: Above
    why: Why


@dataclass(slots=True)
class Wished:
    """pairs: of each wish, the straight lines that lie one above the other."""

    pairs: list[tuple[Above, list[Pair]]] = field(default_factory=list)
    unkept: list[Unkept] = field(default_factory=list)

    def leave_out(self, rank: Sequence[int]) -> None:
        """Note the wishes that an order does not keep: lines would have to cross for them."""
        for above, pairs in self.pairs:
            if any(rank[a] > rank[b] for a, b in pairs):
                self.unkept.append(Unkept(above, "crossing"))


class _Stretch(NamedTuple):
    """A stretch of a straight line, from column to column."""

    straight: int
    low: int
    high: int

    def beside(self, other: _Stretch) -> bool:
        """Whether two stretches of different straight lines have a column in common."""
        return (
            self.straight != other.straight
            and self.low <= other.high
            and other.low <= self.high
            and not (self.low < self.high and other.low < other.high
                     and (self.low == other.high or other.low == self.high))
        )  # fmt: skip


@dataclass(slots=True)
class _Thing:
    """own: where a thing lies. beside: the lines that lead to it, if it is a fitting."""

    lines: set[int]
    own: list[_Stretch] = field(default_factory=list)
    beside: list[_Stretch] = field(default_factory=list)


def wished(
    net: Network, spans: Sequence[tuple[int, int]], columns: Sequence[int], made: Straights
) -> Wished:
    """The pairs of all wishes of a layout.

    spans: the columns between which each line lies. columns: that of each node.
    """
    found = Wished()
    known: nx.DiGraph = nx.DiGraph()
    for above in net.above:
        upper, lower = (
            _thing(net, name, spans, columns, made) for name in (above.upper, above.lower)
        )
        pairs: set[Pair] = set()
        for one, other in ((upper.own, lower.own), (upper.own, lower.beside),
                           (upper.beside, lower.own)):  # fmt: skip
            for a, b in itertools.product(one, other):
                if a.beside(b):
                    pairs.add((a.straight, b.straight))
            if pairs:
                break
        # What both lie on lies neither above nor below.
        able = sorted(pair for pair in pairs if pair[::-1] not in pairs)
        contrary = any(b in known and a in known and nx.has_path(known, b, a) for a, b in able)
        if contrary or not able:
            same = upper.lines & lower.lines or (
                {s.straight for s in upper.own} & {s.straight for s in lower.own}
            )
            why: Why = "contrary" if contrary else "one line" if same else "apart"
            found.unkept.append(Unkept(above, why))
            continue
        known.add_edges_from(able)
        found.pairs.append((above, able))
    return found


def _thing(
    net: Network,
    name: str,
    spans: Sequence[tuple[int, int]],
    columns: Sequence[int],
    made: Straights,
) -> _Thing:
    nodes = {n.number for n in net.nodes if n.name == name}
    lines = {
        line.number
        for chain in net.chains
        if any(leg.element == name for leg in chain.pieces)
        for line, _ in chain.parts
    }
    led_to = {n.number for n in net.lines if {n.start.node, n.end.node} & nodes}
    if any(net.nodes[n].shape == "end" for n in nodes):
        lines, led_to, nodes = led_to, set(), set()
    thing = _Thing(lines)
    thing.own += [_Stretch(made.of_line[n], *spans[n]) for n in sorted(lines)]
    thing.own += [_Stretch(made.of_node[n], columns[n], columns[n]) for n in sorted(nodes)]
    thing.beside += [_Stretch(made.of_line[n], *spans[n]) for n in sorted(led_to)]
    return thing
