"""How far down each line runs in each column, in grid units.

Objective: the least sum of climbs, where a climb of a level line counts eight times that
of a diverging leg, and six times that where the straight leg leaves its points; that of
a diverging leg counts least beside its points; a slant steeper
than 45° costs thirty a unit; and, for compactness, a little for every unit that two
neighbours lie further apart than they must. Conditions: neighbours in a column are two
units apart, or as many as they are columns away from the points that part them. A
linear programme whose conditions are all differences of two rows, so that its solution
is whole units (the dual of a minimum-cost flow). In layered drawing this step is called
coordinate assignment; see `columns.py` for the paper, whose section 4 has it.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_array

from bellcrank.picture.measures import ROW
from bellcrank.picture.network import Network, Port
from bellcrank.picture.order import Grid

LEVEL_CLIMB = 8.0
STRAIGHT_CLIMB = 6.0
SLANT_CLIMB = 1.0
FARTHER = 0.02
SLOPING = 5.0
STEEP = 30.0
APART = 0.02
DOWN = 1e-5


@dataclass(slots=True)
class _Programme:
    """Rows of `coefficients · y >= least`, gathered one by one."""

    cost: list[float] = field(default_factory=list)
    rows: list[int] = field(default_factory=list)
    columns: list[int] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    least: list[float] = field(default_factory=list)

    def variable(self, cost: float = 0.0) -> int:
        self.cost.append(cost)
        return len(self.cost) - 1

    def at_least(self, least: float, *terms: tuple[float, int]) -> None:
        for value, column in terms:
            self.rows.append(len(self.least))
            self.columns.append(column)
            self.values.append(value)
        self.least.append(least)

    def solve(self) -> list[float]:
        if not self.cost:
            return []
        shape = (len(self.least), len(self.cost))
        values = -np.array(self.values, dtype=float)
        matrix = csr_array((values, (self.rows, self.columns)), shape=shape)
        solved = linprog(
            self.cost, A_ub=matrix, b_ub=-np.array(self.least, dtype=float), bounds=(0, None),
            method="highs-ds",
        )  # fmt: skip
        if solved.x is None:
            raise ArithmeticError(f"no rows: {solved.message}")
        return [float(x) for x in solved.x]


class Rows:
    """The rows of a layout's items, found on making it."""

    def __init__(self, net: Network, made: Grid, columns: list[int]) -> None:
        self.net, self.grid, self.columns = net, made, columns
        self.programme = _Programme()
        self.single: dict[int, int] = {}
        self.port: dict[Port, int] = {}
        self.lines_at: dict[Port, int] = {}
        for line in net.lines:
            self.lines_at[line.start] = self.lines_at[line.end] = line.number
        self._variables()
        self._neighbours()
        self._climbs()
        self._shapes()
        self.y = self.programme.solve()

    def of_line(self, number: int) -> list[tuple[int, float]]:
        """The points of a line, from node to node: column and row."""
        line, path = self.net.lines[number], self.grid.along[number]
        points = [(self.columns[line.start.node], self.of_port(line.start))]
        points += [(self.grid.levels[self.grid.items[i].level], self.y[self.single[i]])
                   for i in path[1:-1]]  # fmt: skip
        points.append((self.columns[line.end.node], self.of_port(line.end)))
        return points

    def of_port(self, port: Port) -> float:
        if self.net.nodes[port.node].shape == "cross":
            corners = [self.y[v] for v in self._corners(port.node).values()]
            return sum(corners) / 4
        return self.y[self._variable(port)]

    def too_steep(self, number: int) -> float:
        """How many units longer a line must be to climb as it does at 45°."""
        points = self.of_line(number)
        climbs = sum(abs(b[1] - a[1]) for a, b in itertools.pairwise(points))
        return max(0.0, climbs - (points[-1][0] - points[0][0]))

    def stretched(self) -> dict[int, float]:
        """Where each column lies once gaps in which a line is still too steep are wider."""
        wider: dict[int, float] = {}
        for line in self.net.lines:
            for (c, r), (c2, r2) in itertools.pairwise(self.of_line(line.number)):
                if abs(r2 - r) > c2 - c:
                    wider[c2] = max(wider.get(c2, 0.0), abs(r2 - r) - (c2 - c))
        where, more = {}, 0.0
        for column in self.grid.levels:
            more += wider.get(column, 0.0)
            where[column] = column + more
        return where

    # ----------------------------------------------------------------- building

    def _variables(self) -> None:
        for number, item in enumerate(self.grid.items):
            node = item.node
            if node is None or node.shape in ("fan", "end"):
                self.single[number] = self.programme.variable(DOWN)
            elif node.shape != "cross":
                for place in range(len(node.left)):
                    port = Port(node.number, "left", place)
                    self.port[port] = self.programme.variable(DOWN)
                for place in range(len(node.right)):
                    port = Port(node.number, "right", place)
                    self.port[port] = self.programme.variable(DOWN)

    def _variable(self, port: Port) -> int:
        """The row of a leg; of a cross, that of its line in the column beside it."""
        if port in self.port:
            return self.port[port]
        if port.node in self.single:
            return self.single[port.node]
        line = self.net.lines[self.lines_at[port]]
        path = self.grid.along[line.number]
        beside = path[1] if port.hand == "right" else path[-2]
        if beside in self.single:
            return self.single[beside]
        return self.port[line.end if port.hand == "right" else line.start]

    def _stacked(self, node: int, hand: str) -> list[Port]:
        """The legs on one side of a node, from the top."""
        made = self.net.nodes[node]
        legs = made.left if hand == "left" else made.right
        ports = [Port(node, "left" if hand == "left" else "right", k) for k in range(len(legs))]
        return ports[::-1] if node in self.grid.flipped else ports

    def _corners(self, node: int) -> dict[str, int]:
        left, right = self._stacked(node, "left"), self._stacked(node, "right")
        return {
            "top left": self._variable(left[0]),
            "bottom left": self._variable(left[1]),
            "top right": self._variable(right[0]),
            "bottom right": self._variable(right[1]),
        }

    def _bounds(self, item: int, top: bool) -> list[tuple[int, int]]:
        """The rows that bound an item above or below, and the columns they lie in."""
        made = self.grid.items[item]
        column = self.grid.levels[made.level]
        if item in self.single:
            return [(self.single[item], column)]
        assert made.node is not None
        found = []
        for hand, step in (("left", -1), ("right", 1)):
            ports = self._stacked(made.node.number, hand)
            if ports:
                port = ports[0 if top else -1]
                there = column + step if made.node.shape == "cross" else column
                found.append((self._variable(port), there))
        return found

    def _neighbours(self) -> None:
        come_from, lead_to = self._relations()
        for items in self.grid.order:
            for one, other in itertools.pairwise(items):
                shared_left = come_from[one] & come_from[other]
                shared_right = lead_to[one] & lead_to[other]
                crossing = self._cross_soon(one, other)
                for upper, at_upper in self._bounds(one, top=False):
                    for lower, at_lower in self._bounds(other, top=True):
                        if upper == lower:
                            continue
                        # A cross has its bounds beside it: there the two are compared.
                        low, high = min(at_upper, at_lower), max(at_upper, at_lower)
                        apart = ROW
                        for node in shared_left:
                            apart = min(apart, max(0, low - self.columns[node]))
                        for node in shared_right:
                            apart = min(apart, max(0, self.columns[node] - high))
                        if crossing:
                            apart = min(apart, 1)
                        self.programme.at_least(apart, (1.0, lower), (-1.0, upper))
                        self.programme.cost[lower] += APART
                        self.programme.cost[upper] -= APART

    def _relations(self) -> tuple[list[set[int]], list[set[int]]]:
        """For each item the fans its lines come from on the left, and lead to on the right."""
        come_from: list[set[int]] = [set() for _ in self.grid.items]
        lead_to: list[set[int]] = [set() for _ in self.grid.items]
        for line in self.net.lines:
            path = self.grid.along[line.number]
            if self.net.nodes[line.start.node].shape == "fan":
                for item in path[1:]:
                    come_from[item].add(line.start.node)
            if self.net.nodes[line.end.node].shape == "fan":
                for item in path[:-1]:
                    lead_to[item].add(line.end.node)
        return come_from, lead_to

    def _cross_soon(self, one: int, other: int) -> bool:
        """Whether two neighbouring lines cross just before or after this column."""
        a, b = self.grid.items[one].line, self.grid.items[other].line
        if a is None or b is None:
            return False
        for step in (-1, 1):
            next_a, next_b = (
                self.grid.along[n][self.grid.along[n].index(i) + step]
                for n, i in ((a, one), (b, other))
            )
            if next_a != next_b and self._place(next_a) > self._place(next_b):
                return True
        return False

    def _place(self, item: int) -> int:
        return self.grid.order[self.grid.items[item].level].index(item)

    def _climbs(self) -> None:
        add = self.programme
        for line in self.net.lines:
            path = self.grid.along[line.number]
            where = [self.grid.levels[self.grid.items[i].level] for i in path]
            rows = [self._row_on(line.number, i, k == 0) for k, i in enumerate(path)]
            for k in range(len(path) - 1):
                one, other = rows[k], rows[k + 1]
                if one is None or other is None or one == other:
                    continue
                near = [where[k] - where[0]] if line.slants[0] else []
                near += [where[-1] - where[k + 1]] if line.slants[1] else []
                weight = LEVEL_CLIMB
                ends = [line.start] if k == 0 else []
                ends += [line.end] if k == len(path) - 2 else []
                if any(self._one_of_many(port) for port in ends):
                    weight = STRAIGHT_CLIMB
                if near:
                    weight = min(LEVEL_CLIMB - 2, SLANT_CLIMB + FARTHER * min(near))
                if any(self._keeps_level(port) for port in ends):
                    weight = 2 * STEEP
                climb, steep = add.variable(weight), add.variable(STEEP)
                add.at_least(0, (1.0, climb), (1.0, one), (-1.0, other))
                add.at_least(0, (1.0, climb), (-1.0, one), (1.0, other))
                add.at_least(where[k] - where[k + 1], (1.0, steep), (-1.0, climb))

    def _one_of_many(self, port: Port) -> bool:
        """Whether a leg lies beside others of one point."""
        node = self.net.nodes[port.node]
        return node.shape == "fan" and len(node.on(port.hand)) > 1

    def _keeps_level(self, port: Port) -> bool:
        """Whether a line ends level there: at the name of an edge, or to turn."""
        node = self.net.nodes[port.node]
        return node.shape in ("turn", "box") or node.reach > 0

    def _row_on(self, line: int, item: int, first: bool) -> int | None:
        if item in self.single:
            return self.single[item]
        node = self.grid.items[item].node
        assert node is not None
        if node.shape == "cross":
            return None
        made = self.net.lines[line]
        return self.port[made.start if first else made.end]

    def _shapes(self) -> None:
        """The legs of crosses, frames and U-turns among themselves."""
        add = self.programme
        for node in self.net.nodes:
            if node.shape == "cross":
                corner = self._corners(node.number)
                for hand in ("left", "right"):
                    self._beside(corner[f"top {hand}"], corner[f"bottom {hand}"], STEEP)
                top, bottom = corner["top left"], corner["bottom right"]
                climb = add.variable(SLOPING)
                add.at_least(-ROW, (1.0, climb), (1.0, top), (-1.0, bottom))
                add.at_least(ROW, (1.0, climb), (-1.0, top), (1.0, bottom))
                # One road may be level and the other slant, either way, or both slant.
                for sign, least in ((1.0, 0.0), (-1.0, -2.0 * ROW)):
                    beyond = add.variable(STEEP)
                    add.at_least(least, (sign, bottom), (-sign, top), (1.0, beyond))
            elif node.shape in ("box", "turn"):
                for hand in ("left", "right"):
                    ports = [self.port[p] for p in self._stacked(node.number, hand)]
                    for upper, lower in itertools.pairwise(ports):
                        self._beside(upper, lower, 0.3 if node.shape == "turn" else STEEP)
                if node.shape == "box" and node.left and node.right:
                    one = self._variable(self._stacked(node.number, "left")[0])
                    other = self._variable(self._stacked(node.number, "right")[0])
                    climb = add.variable(LEVEL_CLIMB)
                    add.at_least(0, (1.0, climb), (1.0, one), (-1.0, other))
                    add.at_least(0, (1.0, climb), (-1.0, one), (1.0, other))

    def _beside(self, upper: int, lower: int, cost: float) -> None:
        """Two legs one row apart, and more only at a cost."""
        if upper == lower:
            return
        closer = self.programme.variable(2 * STEEP)
        self.programme.at_least(ROW, (1.0, lower), (-1.0, upper), (1.0, closer))
        self.programme.cost[lower] += cost
        self.programme.cost[upper] -= cost
