"""Columns and order together: what lies within what.

A line that ends, or turns, between two lines that come together must do so before they
meet. Where lines cross, columns are laid again with the end left of where the other
line leads (or right of where it comes from), and what crosses least is kept.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil

from networkx.utils import UnionFind

from bellcrank.layout.layout_model import Hand
from bellcrank.picture.columns import Before, columns
from bellcrank.picture.network import Network
from bellcrank.picture.order import Grid, grid
from bellcrank.picture.rings import Nested, befores, nested_rings
from bellcrank.picture.rows import Rows

MOST_TRIED = 24
"""Arrangements that are tried beyond the first; a quarter of them for large layouts."""

LARGE = 200

NEAR_MARGIN = 12
"""Columns from the margin within which an edge lies at the margin."""


@dataclass(frozen=True, slots=True)
class Within:
    """What lies within what.

    also: what must lie left of what for that. rings: those that lie one inside the other.
    """

    also: tuple[Before, ...] = ()
    rings: tuple[Nested, ...] = ()


def first_within(net: Network) -> Within:
    """Rings one inside the other, unless more lines cross for it."""
    *wanted, _ = nested_rings(net)
    if not wanted:
        return Within()
    fewest = len(_crossings(net, nesting(net, Within())))
    for rings in wanted:
        inside = nesting(net, Within(tuple(befores(rings)), tuple(rings)))
        if len(_crossings(net, inside)) <= fewest and _holds(net, inside):
            return inside
    return Within()


def clear_of_tables(net: Network, within: Within) -> Within:
    """Stops and edges beside a turntable end before its roads begin, where they can, so that these
    may lie on either side of the road that leads to it."""
    places = _columns(net, within.also)
    for table in net.nodes:
        if table.table != "turntable" or min(len(table.left), len(table.right)) != 1:
            continue
        here, rightwards = places[table.number], len(table.right) > 1
        found = []
        for line in net.lines:
            one, other = (net.nodes[port.node] for port in (line.start, line.end))
            if table in (one, other) or not places[one.number] <= here <= places[other.number] + 1:
                continue
            if rightwards and other.shape == "end":
                found.append((other.number, table.number))
            elif not rightwards and one.shape == "end":
                found.append((table.number, one.number))
        clear = replace(within, also=(*within.also, *found))
        if found and _holds(net, clear):
            within = clear
    return within


def nesting(net: Network, known: Within) -> Within:
    """What must lie left of what for few lines to cross, beside what is known of it."""
    kept = known
    most = MOST_TRIED if len(net.lines) < LARGE else MOST_TRIED // 4
    crossed = _crossings(net, kept)
    tried: set[Before] = set()
    tries = 0
    while crossed and tries < most:
        ends = _wishes(net, crossed, ("end",))
        together = [pair for pair in ends if pair not in tried]
        choices = [together] if len(together) > 1 else []
        choices += [[pair] for pair in _wishes(net, crossed, ("end", "turn")) if pair not in tried]
        for choice in choices:
            tries += 1
            if len(choice) == 1:
                tried.add(choice[0])
            more = replace(kept, also=(*kept.also, *choice))
            found = _crossings(net, more)
            if len(found) < len(crossed):
                kept, crossed = more, found
                break
            if tries >= most:
                break
        else:
            break
    return _spared(net, known, kept, len(crossed))


def _spared(net: Network, known: Within, found: Within, most: int) -> Within:
    """Without what was found on the way and turns out to be needless, where it keeps fittings apart
    that touch."""
    for pair in found.also:
        if pair not in known.also:
            less = replace(found, also=tuple(one for one in found.also if one != pair))
            closer = _touching_apart(net, less) < _touching_apart(net, found)
            if closer and len(_crossings(net, less)) <= most:
                found = less
    return found


def _touching_apart(net: Network, within: Within) -> int:
    """How far apart fittings lie in all that no track lies between, in columns."""
    places = _columns(net, within.also)
    return sum(places[line.end.node] - places[line.start.node] for line in net.lines if line.bare)


def arrange(net: Network, within: Within) -> tuple[list[int], Grid]:
    """The columns of the nodes, and everything in order in them."""
    places = _columns(net, within.also)
    return places, grid(net, places, nested=within.rings)


def aligned(net: Network, within: Within, places: list[int], made: Grid) -> tuple[list[int], Grid]:
    """The same with the stops of one throat in a column, and its edges, and then with edges near
    the margin at the margin, where no more lines cross for it."""
    wanted: dict[int, int] = {}
    for ends in _ends_together(net):
        furthest = max if net.nodes[ends[0]].left else min
        wanted |= dict.fromkeys(ends, furthest(places[n] for n in ends))
    places, made = _moved(net, within, places, made, wanted)
    wanted = {}
    for node in net.nodes:
        if node.shape == "end" and node.name:
            margin = max(places) if node.left else min(places)
            if abs(places[node.number] - margin) <= NEAR_MARGIN:
                wanted[node.number] = margin
    return _moved(net, within, places, made, wanted)


def _moved(
    net: Network, within: Within, places: list[int], made: Grid, wanted: Mapping[int, int]
) -> tuple[list[int], Grid]:
    """Nodes in the columns that are wanted, except where they would no longer lie left of what
    they must; all as they were if more lines cross for it."""
    moved = [wanted.get(node, place) for node, place in enumerate(places)]
    for pair in within.also:
        if moved[pair[0]] >= moved[pair[1]]:
            for node in pair:
                moved[node] = places[node]
    if moved == places:
        return places, made
    start = sorted(range(len(made.rank)), key=made.rank.__getitem__)
    other = grid(net, moved, start, within.rings)
    if len(other.crossed) > len(made.crossed):
        return places, made
    return moved, other


def widened(net: Network, within: Within, rows: Rows) -> tuple[list[int], Grid]:
    """The same with more room between columns where a line would be steeper than 45°, so that the
    others are laid anew for it."""
    where = rows.stretched()
    places = [ceil(where[column]) for column in rows.columns]
    start = sorted(range(len(rows.grid.rank)), key=rows.grid.rank.__getitem__)
    return places, grid(net, places, start, within.rings)


def _ends_together(net: Network) -> Iterator[list[int]]:
    """Stops, and edges, to which lines lead from one throat, on one hand."""
    throats = UnionFind([node.number for node in net.nodes])
    for line in net.lines:
        if line.bare:
            throats.union(line.start.node, line.end.node)
    found: dict[tuple[object, Hand, bool], list[int]] = {}
    for line in net.lines:
        for port, far in ((line.start, line.end), (line.end, line.start)):
            node = net.nodes[port.node]
            if node.shape == "end" and net.nodes[far.node].shape not in ("end", "turn"):
                key = (throats[far.node], port.hand, bool(node.name))
                found.setdefault(key, []).append(node.number)
    yield from found.values()


def _columns(net: Network, also: Sequence[Before]) -> list[int]:
    try:
        return columns(net, also)
    except ArithmeticError:
        return columns(net)


def _holds(net: Network, within: Within) -> bool:
    """Whether columns can be as they must for rings to lie one inside the other."""
    try:
        columns(net, within.also)
    except ArithmeticError:
        return False
    return True


def _crossings(net: Network, within: Within) -> set[tuple[int, int]]:
    return arrange(net, within)[1].crossed


def _wishes(net: Network, crossed: set[tuple[int, int]], shapes: tuple[str, ...]) -> list[Before]:
    """For each crossing of a line that ends: that it ends before the other leads on."""
    found: list[Before] = []
    for pair in sorted(crossed):
        for one, other in (pair, pair[::-1]):
            line, across = net.lines[one], net.lines[other]
            if net.nodes[line.end.node].shape in shapes:
                found.append((line.end.node, across.end.node))
            if net.nodes[line.start.node].shape in shapes:
                found.append((across.start.node, line.start.node))
    return [pair for pair in dict.fromkeys(found) if pair[0] != pair[1]]
