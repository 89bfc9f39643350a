"""Which line runs above which: the order from top to bottom in every column.

Objective: the fewest crossings of lines outside fittings, among the orders that keep
what the layout wants drawn above what (`wished.py`). This is the second step of layered
drawing (Sugiyama, Tagawa, Toda, "Methods for visual understanding of hierarchical system
structures", IEEE Transactions on Systems, Man, and Cybernetics 11(2), 1981): lines are cut
at every column in which a node lies; barycentre sweeps to and fro sort each column by the
mean place of what its lines come from, then neighbours are exchanged and fittings turned
over while that saves crossings; after each step what is wished is put right. Ties keep
the order of the text. The best of a few starts is taken.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil

from bellcrank.layout.layout_model import Hand
from bellcrank.picture.measures import ROW, UNIT
from bellcrank.picture.network import Network, Node, Port
from bellcrank.picture.wished import Wished, obeyed, wished

SWEEPS = 10


@dataclass(slots=True)
class Item:
    """What lies in a column: a node, or a line that passes it."""

    level: int
    node: Node | None
    line: int | None


Thread = tuple[int, int, int, int]
"""From an item and the place of its leg to an item in the next column and its leg."""


@dataclass(slots=True)
class Grid:
    """Everything by columns.

    levels: the columns in which anything lies. order: the items in each, from the top.
    along: the items of each line, both nodes included. flipped: the nodes whose legs
    stand upside down. wished: what is kept of the layout's wishes.
    """

    levels: list[int]
    items: list[Item]
    along: list[list[int]]
    order: list[list[int]]
    flipped: set[int]
    wished: Wished


def grid(net: Network, columns: list[int]) -> Grid:
    """Cut the lines at the columns and order these."""
    used = set(columns)
    for node in net.nodes:
        column = columns[node.number]
        if node.shape == "cross":
            used |= {column - 1, column + 1}
        elif node.shape == "turn":
            used.add(column + 1 if node.right else column - 1)
        elif node.shape == "end" and node.reach:
            used.add(column + (1 if node.right else -1) * ceil(node.reach / UNIT))
        elif node.shape == "fan":
            # Where the legs of points have come as far apart as lines are.
            used |= {column + ROW} if len(node.right) > 1 else set()
            used |= {column - ROW} if len(node.left) > 1 else set()
    levels = sorted(c for c in used if min(columns) <= c <= max(columns))
    level_of = {column: i for i, column in enumerate(levels)}
    items = [Item(level_of[columns[n.number]], n, None) for n in net.nodes]
    along: list[list[int]] = []
    for line in net.lines:
        one, other = line.start.node, line.end.node
        path = [one]
        for level in range(items[one].level + 1, items[other].level):
            path.append(len(items))
            items.append(Item(level, None, line.number))
        path.append(other)
        along.append(path)
    made = Grid(levels, items, along, [], set(), wished(net, along, [i.level for i in items]))
    return _Ordering(net, made).best()


class _Ordering:
    def __init__(self, net: Network, made: Grid) -> None:
        self.net = net
        self.grid = made
        count = len(made.items)
        self.before: list[list[tuple[int, int, int]]] = [[] for _ in range(count)]
        self.after: list[list[tuple[int, int, int]]] = [[] for _ in range(count)]
        for line in net.lines:
            path = made.along[line.number]
            for k in range(len(path) - 1):
                mine = line.start.place if k == 0 else 0
                theirs = line.end.place if k == len(path) - 2 else 0
                self.after[path[k]].append((mine, path[k + 1], theirs))
                self.before[path[k + 1]].append((theirs, path[k], mine))
        self.legs = [
            (len(i.node.left), len(i.node.right)) if i.node is not None else (1, 1)
            for i in made.items
        ]
        self.flipped = [False] * count
        self.place = [0] * count
        self.order: list[list[int]] = []

    def best(self) -> Grid:
        found: tuple[int, list[list[int]], set[int]] | None = None
        for start, upside_down in self._starts():
            self.flipped = [upside_down] * len(self.flipped)
            self._set(start)
            for sweep in range(SWEEPS):
                self._sweep(rightwards=sweep % 2 == 0)
                if sweep >= 2:
                    self._improve()
                    crossings = self.crossings()
                    if found is None or crossings < found[0]:
                        kept = {i for i, f in enumerate(self.flipped) if f}
                        found = (crossings, [list(o) for o in self.order], kept)
                    if crossings == 0:
                        break
            if found is not None and found[0] == 0:
                break
        assert found is not None
        self.grid.order, self.grid.flipped = found[1], found[2]
        return self.grid

    def _starts(self) -> Iterator[tuple[list[list[int]], bool]]:
        """Orders to begin with, and whether all legs stand upside down in them."""
        for backwards in (False, True):
            yield self._walked(backwards), False
        if self.net.above:
            for backwards in (False, True):
                yield [items[::-1] for items in self._walked(backwards)], True

    # ------------------------------------------------------------------ places

    def _set(self, order: list[list[int]]) -> None:
        self.order = order
        for level in range(len(order)):
            self._obey(level)

    def _obey(self, level: int) -> None:
        """Put right what is wished in a column, and number it."""
        pairs = self.grid.wished.pairs.get(level)
        if pairs:
            self.order[level] = obeyed(self.order[level], pairs)
        self._number(self.order[level])

    def _number(self, items: list[int]) -> None:
        for place, item in enumerate(items):
            self.place[item] = place

    def _walked(self, backwards: bool) -> list[list[int]]:
        """A first order: as the nodes are come to along the lines, in source order."""
        seen: dict[int, int] = {}
        for root in range(len(self.net.nodes)):
            stack = [root]
            while stack:
                item = stack.pop()
                if item in seen:
                    continue
                seen[item] = len(seen)
                near = [*self.before[item], *self.after[item]]
                stack.extend(other for _, other, _ in (near if backwards else near[::-1]))
        order: list[list[int]] = [[] for _ in self.grid.levels]
        for item in sorted(seen, key=seen.__getitem__):
            order[self.grid.items[item].level].append(item)
        return order

    def _at(self, item: int, place: int, hand: Hand) -> float:
        """Where a leg of an item lies, counted in items."""
        count = self.legs[item][0 if hand == "left" else 1]
        if self.flipped[item]:
            place = count - 1 - place
        return self.place[item] + (place + 1) / (count + 1)

    # ------------------------------------------------------------------ sweeps

    def _sweep(self, *, rightwards: bool) -> None:
        count = len(self.order)
        levels = range(1, count) if rightwards else range(count - 2, -1, -1)
        far: Hand = "right" if rightwards else "left"
        for level in levels:
            items = self.order[level]
            mean: dict[int, float] = {}
            for item in items:
                near = self.before[item] if rightwards else self.after[item]
                if near:
                    places = [self._at(other, leg, far) for _, other, leg in near]
                    mean[item] = sum(places) / len(places)
            moved = iter(sorted((i for i in items if i in mean), key=mean.__getitem__))
            self.order[level] = [next(moved) if i in mean else i for i in items]
            self._obey(level)
            for item in items:
                near = self.before[item] if rightwards else self.after[item]
                if len(near) > 1:
                    self._turn_to(item, near, far)

    def _turn_to(self, item: int, near: list[tuple[int, int, int]], far: Hand) -> None:
        """Turn a node so that few of its lines on one side cross each other."""
        wrong = 0
        for i, (mine, other, leg) in enumerate(near):
            for mine2, other2, leg2 in near[i + 1 :]:
                up = self._at(other, leg, far) < self._at(other2, leg2, far)
                wrong += 1 if up != (mine < mine2) else -1
        if wrong:
            self.flipped[item] = wrong > 0

    # ---------------------------------------------------------------- crossings

    def crossings(self) -> int:
        total = 0
        for items in self.order[:-1]:
            ends = []
            for item in items:
                threads = [
                    (self._at(item, mine, "right"), self._at(other, leg, "left"))
                    for mine, other, leg in self.after[item]
                ]
                ends += threads
            ends.sort()
            total += _inversions([end for _, end in ends])
        return total + sum(self._twisted(item) for item in range(len(self.net.nodes)))

    def _twisted(self, item: int) -> int:
        """How much legs that cross beside their own cross count more than others."""
        if self.net.nodes[item].shape != "cross":
            return 0
        count = 0
        for far, near in (("right", self.before[item]), ("left", self.after[item])):
            (mine, other, leg), (mine2, other2, leg2) = near
            hand: Hand = "right" if far == "right" else "left"
            up = self._at(other, leg, hand) < self._at(other2, leg2, hand)
            count += 2 * (up != ((mine < mine2) != self.flipped[item]))
        return count

    def _improve(self) -> None:
        for _ in range(8):
            better = False
            for items in self.order:
                for item in items:
                    better |= self._try_flip(item)
                for k in range(len(items) - 1):
                    better |= self._try_swap(items, k)
            if not better:
                return

    def _try_flip(self, item: int) -> bool:
        if self.legs[item][0] < 2 and self.legs[item][1] < 2:
            return False
        gain = 0
        for hand, near in (("right", self.before[item]), ("left", self.after[item])):
            for i, (mine, other, leg) in enumerate(near):
                for mine2, other2, leg2 in near[i + 1 :]:
                    up = self._at(other, leg, hand) < self._at(other2, leg2, hand)  # type: ignore[arg-type]
                    now = (mine < mine2) != self.flipped[item]
                    gain += 1 if up != now else -1
        if gain > 0:
            self.flipped[item] = not self.flipped[item]
            return True
        return False

    def _try_swap(self, items: list[int], k: int) -> bool:
        one, other = items[k], items[k + 1]
        if (one, other) in self.grid.wished.pairs.get(self.grid.items[one].level, ()):
            return False
        gain = 0
        sides: tuple[tuple[Hand, list[list[tuple[int, int, int]]]], ...] = (
            ("right", self.before),
            ("left", self.after),
        )
        for hand, near in sides:
            ends = [self._at(i, leg, hand) for _, i, leg in near[one]]
            ends2 = [self._at(i, leg, hand) for _, i, leg in near[other]]
            for end in ends:
                for end2 in ends2:
                    gain += (end > end2) - (end < end2)
        for near in (self.before, self.after):
            shared = {i for _, i, _ in near[one]} & {i for _, i, _ in near[other]}
            twisted = sum(self._twisted(i) for i in shared if i < len(self.net.nodes))
            if shared:
                self.place[one], self.place[other] = k + 1, k
                now = sum(self._twisted(i) for i in shared if i < len(self.net.nodes))
                self.place[one], self.place[other] = k, k + 1
                gain += twisted - now
        if gain > 0:
            items[k], items[k + 1] = other, one
            self.place[one], self.place[other] = k + 1, k
            return True
        return False


def _inversions(values: list[float]) -> int:
    """How many pairs stand in the wrong order."""
    if len(values) < 2:
        return 0
    middle = len(values) // 2
    one, other = values[:middle], values[middle:]
    count = _inversions(one) + _inversions(other)
    one.sort()
    other.sort()
    k = 0
    for value in one:
        while k < len(other) and other[k] < value:
            k += 1
        count += k
    return count


def crossing_lines(net: Network, made: Grid) -> set[tuple[int, int]]:
    """The pairs of lines that cross, the lower number first."""
    place = {item: k for items in made.order for k, item in enumerate(items)}

    def at(item: int, port: Port | None) -> float:
        node = made.items[item].node
        if node is None or port is None:
            return place[item] + 0.5
        count = len(node.on(port.hand))
        rank = count - 1 - port.place if item in made.flipped else port.place
        return place[item] + (rank + 1) / (count + 1)

    threads: list[list[tuple[float, float, int]]] = [[] for _ in made.levels]
    for line in net.lines:
        path = made.along[line.number]
        for k, (one, other) in enumerate(itertools.pairwise(path)):
            start = at(one, line.start if k == 0 else None)
            end = at(other, line.end if k == len(path) - 2 else None)
            threads[made.items[one].level].append((start, end, line.number))
    found = set()
    for listed in threads:
        listed.sort()
        if all(a[1] <= b[1] for a, b in itertools.pairwise(listed)):
            continue
        for k, (_, end, one) in enumerate(listed):
            for _, end2, other in listed[k + 1 :]:
                if end2 < end:
                    found.add((min(one, other), max(one, other)))
    return found
