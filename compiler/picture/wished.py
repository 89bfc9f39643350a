"""What the layout wants drawn above what, as pairs of items in the columns.

A wish holds for all that is drawn of the two side by side: a piece stands for the line
that it lies on, an edge for its line as well, a fitting for itself, and beside another
thing also for the lines that lead to it. Where two have no column in common, or share a
line, or a wish contradicts those before it in some column, nothing can be done.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import networkx as nx

from bellcrank.layout.layout_model import Above
from bellcrank.picture.network import Network

Why = Literal["one line", "apart", "contrary", "crossing"]

Pair = tuple[int, int]
"""The numbers of two items in one column, the upper first."""


@dataclass(frozen=True, slots=True)
class Unkept:
    """A wish that comes to nothing.

    why: both lie on one line, or no column has both ("apart"), or in one they are wanted
    the other way round by wishes about what lies on the same lines ("contrary"), or lines
    would have to cross for it ("crossing").
    """

    above: Above
    why: Why


@dataclass(slots=True)
class Wished:
    """pairs: for each column the items that lie one above the other."""

    pairs: dict[int, list[Pair]] = field(default_factory=lambda: defaultdict(list))
    unkept: list[Unkept] = field(default_factory=list)


@dataclass(slots=True)
class _Thing:
    """The lines that a thing lies on; its items, and those of lines that lead to it, by
    columns."""

    lines: set[int]
    own: dict[int, set[int]] = field(default_factory=lambda: defaultdict(set))
    beside: dict[int, set[int]] = field(default_factory=lambda: defaultdict(set))


def wished(net: Network, along: Sequence[Sequence[int]], level_of: Sequence[int]) -> Wished:
    """The pairs of all wishes of a layout.

    along: the items of each line, both nodes included. level_of: the column of each item.
    """
    made = Wished()
    for above in net.above:
        upper, lower = (_thing(net, name, along, level_of) for name in (above.upper, above.lower))
        pairs = set()
        for one, other in ((upper.own, lower.own), (upper.own, lower.beside),
                           (upper.beside, lower.own)):  # fmt: skip
            for level in one.keys() & other.keys():
                pairs |= {(level, a, b) for a in one[level] for b in other[level]}
        # What leads to both, or is both, lies neither above nor below.
        both = {i for items in (*upper.own.values(), *upper.beside.values()) for i in items} & {
            i for items in (*lower.own.values(), *lower.beside.values()) for i in items
        }
        able = sorted((level, a, b) for level, a, b in pairs if not {a, b} & both)
        contrary = any(_leads(made.pairs[level], b, a) for level, a, b in able)
        if contrary or not able:
            apart: Why = "one line" if upper.lines & lower.lines else "apart"
            why: Why = "contrary" if contrary else apart
            made.unkept.append(Unkept(above, why))
            continue
        for level, a, b in able:
            made.pairs[level].append((a, b))
    return made


def _thing(
    net: Network, name: str, along: Sequence[Sequence[int]], level_of: Sequence[int]
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
        lines, led_to = led_to, set()
    nodes |= {
        port.node
        for number in lines
        for port in (net.lines[number].start, net.lines[number].end)
        if net.nodes[port.node].shape == "end"
    }
    thing = _Thing(lines)
    for item in (*nodes, *(i for number in lines for i in along[number][1:-1])):
        thing.own[level_of[item]].add(item)
    for number in led_to:
        for item in along[number][1:-1]:
            thing.beside[level_of[item]].add(item)
    return thing


def _leads(pairs: Sequence[Pair], top: int, bottom: int) -> bool:
    """Whether one item lies above another by what is known."""
    known = nx.DiGraph(pairs)
    return top in known and bottom in known and nx.has_path(known, top, bottom)


def obeyed(items: list[int], pairs: Sequence[Pair]) -> list[int]:
    """Items in an order that keeps all pairs, as near as can be to the one given.

    Two in the wrong order meet half way; what stands between them stays between.
    """
    at = {item: float(place) for place, item in enumerate(items)}
    for _ in range(2 * len(pairs)):
        wrong = [(a, b) for a, b in pairs if at[a] >= at[b]]
        if not wrong:
            break
        for upper, lower in wrong:
            middle = (at[upper] + at[lower]) / 2
            at[upper], at[lower] = middle - 0.01, middle + 0.01
    order: nx.DiGraph = nx.DiGraph()
    order.add_nodes_from(items)
    order.add_edges_from(pairs)
    return list(nx.lexicographical_topological_sort(order, key=at.__getitem__))
