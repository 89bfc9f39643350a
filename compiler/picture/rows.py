"""How far down each line runs in each column, in grid units.

A straight line has one row. Objective: the least sum of climbs of the lines that slant from
one straight line to another, where a climb counts least beside the points that it begins
at; a slant steeper than 45° costs thirty a unit; and, for compactness, a little for every
unit that two neighbours lie further apart than they must. Conditions: neighbours in a column
are two units apart, or as many as they are columns away from the points that part them. A
linear programme whose conditions are all differences of two rows, so that its solution
is whole units (the dual of a minimum-cost flow); but for turntables, the middle of whose roads may
lie at half a unit. In layered drawing this step is called
coordinate assignment; see `columns.py` for the paper, whose section 4 has it.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_array

from bellcrank.picture.measures import ROW
from bellcrank.picture.network import Line, Network, Node, Port
from bellcrank.picture.order import Grid
from bellcrank.picture.straight import lines_at

LEVEL_CLIMB = 8.0
SLANT_CLIMB = 1.0
FARTHER = 0.5
ROUNDABOUT = 8
"""Columns by which a climb counts as further from an end at which its line leads the other way."""

LATER = 0.01
"""What a climb costs more for each column further from the points that it begins at, beyond those
from which on it costs as much as one can: else it might come in two steps."""

MOST_BRANCHES = 200
"""Of the search for rows in whole numbers."""

STEEP = 30.0
APART = 0.02
DOWN = 1e-5


@dataclass(slots=True)
class Programme:
    """A linear programme: rows of `coefficients · y >= least`, gathered one by one.

    cost: of each variable, which is not below nothing. whole: those that are to be multiples of the
        distance of two lines.
    """

    cost: list[float] = field(default_factory=list)
    rows: list[int] = field(default_factory=list)
    columns: list[int] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    least: list[float] = field(default_factory=list)
    whole: set[int] = field(default_factory=set)

    def variable(self, cost: float = 0.0) -> int:
        self.cost.append(cost)
        return len(self.cost) - 1

    def in_whole_rows(self, column: int) -> None:
        """Say that a row is a multiple of the distance of two lines."""
        self.whole.add(column)

    def at_least(self, least: float, *terms: tuple[float, int]) -> None:
        for value, column in terms:
            self.rows.append(len(self.least))
            self.columns.append(column)
            self.values.append(value)
        self.least.append(least)

    def solve(self) -> list[float]:
        """The values that cost least. Where not all of `whole` can be as they are to be, or not as
        far as is looked, they are as if nobody had asked for it.

        Raises ArithmeticError if there are none.
        """
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
        anyhow = [float(x) for x in solved.x]
        if all(abs(anyhow[k] / ROW - round(anyhow[k] / ROW)) < 1e-6 for k in self.whole):
            return anyhow
        return self._on_whole_rows(matrix) or anyhow

    def _on_whole_rows(self, matrix: csr_array) -> list[float] | None:
        """The same with all that is to be a multiple of the distance of two lines counted in
        that, in whole numbers; None if none were found."""
        counted = np.array([float(ROW if k in self.whole else 1) for k in range(len(self.cost))])
        solved = milp(
            np.array(self.cost) * counted,
            integrality=np.array([int(k in self.whole) for k in range(len(self.cost))]),
            bounds=Bounds(0, np.inf),
            constraints=LinearConstraint(matrix * counted, ub=-np.array(self.least, dtype=float)),
            options={"node_limit": MOST_BRANCHES},
        )
        if solved.x is None:
            return None
        return [float(round(2 * x) / 2) for x in solved.x * counted]


class Rows:
    """The rows of a layout's items, found on making it."""

    def __init__(self, net: Network, made: Grid, columns: list[int]) -> None:
        self.net, self.grid, self.columns = net, made, columns
        self.at = lines_at(net)
        self.roundabout: dict[int, tuple[int, int]] = {}
        self._lay()
        self.roundabout = dict(self._led_back())
        if self.roundabout:
            self._lay()

    def _lay(self) -> None:
        self.programme = Programme()
        self.single: dict[int, int] = {}
        self.port: dict[Port, int] = {}
        self._variables()
        self._neighbours()
        self._climbs()
        self._shapes()
        self.y = self.programme.solve()
        between = set(self._between_rows()) - self.programme.whole
        if between:
            for variable in between:
                self.programme.in_whole_rows(variable)
            self.y = self.programme.solve()

    def _between_rows(self) -> Iterator[int]:
        """Where lines that slant run level between two rows on their way."""
        for line in self.net.lines:
            path = self.grid.along[line.number]
            if not any(line.slants) or len(path) == 2:
                continue
            points = self.of_line(line.number)
            for k, ((c, r), (c2, r2)) in enumerate(itertools.pairwise(points)):
                if abs(r2 - r) >= c2 - c:
                    continue
                at_end = line.slants[1] and (k == len(points) - 2 or not line.slants[0])
                item = path[k if at_end else k + 1]
                if item in self.single and self.y[self.single[item]] % ROW:
                    yield self.single[item]

    def of_line(self, number: int) -> list[tuple[int, float]]:
        """The points of a line, from node to node: column and row."""
        line, path = self.net.lines[number], self.grid.along[number]
        points = [(self.columns[line.start.node], self.of_port(line.start))]
        points += [(self.grid.levels[self.grid.items[i].level], self.y[self.single[i]])
                   for i in path[1:-1]]  # fmt: skip
        points.append((self.columns[line.end.node], self.of_port(line.end)))
        return points

    def of_port(self, port: Port) -> float:
        return self.y[self._variable(port)]

    def single_row(self, node: int) -> float:
        """The row of a node that has one."""
        return self.y[self.single[node]]

    def climb(self, number: int) -> float:
        """How many units a line climbs and falls."""
        return sum(abs(b[1] - a[1]) for a, b in itertools.pairwise(self.of_line(number)))

    def leads_on(self, number: int) -> bool:
        """Whether a line leads only down, or only up."""
        rows = [row for _, row in self.of_line(number)]
        steps = [b - a for a, b in itertools.pairwise(rows)]
        return min(steps) > -1e-6 or max(steps) < 1e-6

    def too_steep(self, number: int) -> float:
        """How many units longer a line must be to climb as it does at 45°."""
        points = self.of_line(number)
        return max(0.0, self.climb(number) - (points[-1][0] - points[0][0]))

    @property
    def steep(self) -> bool:
        """Whether a line is steeper than 45° between two columns, however long it is in all."""
        return bool(self._wider())

    def _wider(self) -> dict[int, float]:
        """How much further right columns must lie for no line to be steeper than 45°."""
        wider: dict[int, float] = {}
        for line in self.net.lines:
            for (c, r), (c2, r2) in itertools.pairwise(self.of_line(line.number)):
                if abs(r2 - r) > c2 - c + 1e-6:
                    wider[c2] = max(wider.get(c2, 0.0), abs(r2 - r) - (c2 - c))
        return wider

    def stretched(self) -> dict[int, float]:
        """Where each column lies once gaps in which a line is still too steep are wider."""
        wider = self._wider()
        where, more = {}, 0.0
        for column in self.grid.levels:
            more += wider.get(column, 0.0)
            where[column] = column + more
        return where

    # ----------------------------------------------------------------- building

    def _variables(self) -> None:
        """One row for each straight line, each leg of a frame, and each place at which a line
        that slants passes a column."""
        made, add = self.grid.straights, self.programme.variable
        straight: dict[int, int] = {}

        free = set(self._off_whole_rows())

        def row_of(number: int) -> int:
            if number not in straight:
                straight[number] = add(DOWN)
                if number not in free:
                    self.programme.in_whole_rows(straight[number])
            return straight[number]

        for number, item in enumerate(self.grid.items):
            node = item.node
            if node is None:
                assert item.line is not None
                slants = any(self.net.lines[item.line].slants)
                self.single[number] = add(DOWN) if slants else row_of(made.of_line[item.line])
            elif node.shape in ("fan", "apex", "cross", "end"):
                self.single[number] = row_of(made.of_node[number])
        for line in self.net.lines:
            for port in (line.start, line.end):
                shape = self.net.nodes[port.node].shape
                if shape == "turn" or self.net.nodes[port.node].toe_at(port.hand, port.place):
                    self.port[port] = row_of(made.of_line[line.number])
                elif shape == "box":
                    self.port[port] = add(DOWN)

    def _off_whole_rows(self) -> Iterator[int]:
        """The straight lines that may lie between two rows: scissors, midway between two lines,
        and what lies round the middle of a turntable."""
        made = self.grid.straights
        for node in self.net.nodes:
            if node.shape == "cross" and not node.level:
                yield made.of_node[node.number]
            elif node.table == "turntable":
                for hand in ("left", "right"):
                    for port in self._stacked(node.number, hand):
                        yield made.of_line[self.at[port].number]

    def _variable(self, port: Port) -> int:
        """The row of a leg."""
        return self.port[port] if port in self.port else self.single[port.node]

    def _stacked(self, node: int, hand: str) -> list[Port]:
        """The legs on one side of a node, from the top."""
        made = self.net.nodes[node]
        legs = made.left if hand == "left" else made.right
        ports = [Port(node, "left" if hand == "left" else "right", k) for k in range(len(legs))]
        return ports[::-1] if node in self.grid.flipped else ports

    def _bounds(self, item: int, top: bool) -> list[tuple[int, int]]:
        """The rows that bound an item above or below, each with the rank of its straight line."""
        made = self.grid.items[item]
        straights, rank = self.grid.straights, self.grid.rank
        if made.line is not None:
            return [(self.single[item], rank[straights.of_line[made.line]])]
        assert made.node is not None
        number = made.node.number
        if item in self.single:
            return [(self.single[item], rank[straights.of_node[number]])]
        found = []
        for hand in ("left", "right"):
            ports = self._stacked(number, hand)
            if ports:
                port = ports[0 if top else -1]
                beside = straights.of_line[self.at[port].number]
                own = straights.of_node.get(number, beside)  # a U-turn has none of its own
                found.append((self._variable(port), rank[own]))
        return found

    def _neighbours(self) -> None:
        come_from, lead_to = self._relations()
        for level, items in enumerate(self.grid.order):
            column = self.grid.levels[level]
            for k, one in enumerate(items):
                # Where a line crosses its neighbour, it keeps from the one beyond.
                for other in items[k + 1 :]:
                    if self._cross_here(one, other, column):
                        continue
                    apart = ROW
                    if self._is_scissors(one) or self._is_scissors(other):
                        apart = ROW // 2
                    for node in come_from[one] & come_from[other]:
                        apart = min(apart, max(0, column - self.columns[node]))
                    for node in lead_to[one] & lead_to[other]:
                        apart = min(apart, max(0, self.columns[node] - column))
                    for upper, above in self._bounds(one, top=False):
                        for lower, below in self._bounds(other, top=True):
                            # What lies within a U-turn that it crosses is not kept from it.
                            if upper != lower and above < below:
                                self._apart(upper, lower, apart)
                    break

    def _is_scissors(self, item: int) -> bool:
        node = self.grid.items[item].node
        return node is not None and node.shape == "cross" and not node.level

    def _apart(self, upper: int, lower: int, least: float) -> None:
        self.programme.at_least(least, (1.0, lower), (-1.0, upper))
        self.programme.cost[lower] += APART
        self.programme.cost[upper] -= APART

    def _relations(self) -> tuple[list[set[int]], list[set[int]]]:
        """For each item the points or crossings its lines come from on the left, and lead to
        on the right."""
        come_from: list[set[int]] = [set() for _ in self.grid.items]
        lead_to: list[set[int]] = [set() for _ in self.grid.items]
        for line in self.net.lines:
            path = self.grid.along[line.number]
            if self.net.nodes[line.start.node].shape in ("fan", "cross"):
                for item in path[1:]:
                    come_from[item].add(line.start.node)
            if self.net.nodes[line.end.node].shape in ("fan", "cross"):
                for item in path[:-1]:
                    lead_to[item].add(line.end.node)
        return come_from, lead_to

    def _cross_here(self, one: int, other: int, column: int) -> bool:
        """Whether two lines cross about this column, so that neither lies above the other."""
        a, b = self.grid.items[one].line, self.grid.items[other].line
        if a is None or b is None:
            return False
        for mine, theirs in ((a, b), (b, a)):
            if (mine, theirs) not in self.grid.crossed:
                continue
            line = self.net.lines[mine]
            for port, slants in zip((line.start, line.end), line.slants, strict=True):
                if slants and abs(self.columns[port.node] - column) < self._reach(line, port):
                    return True
        return False

    def _reach(self, line: Line, port: Port) -> int:
        """How many columns a slant takes at least to the row of its own straight line."""
        made, rank = self.grid.straights, self.grid.rank
        between = rank[made.of_node[port.node]], rank[made.of_line[line.number]]
        column = self.columns[port.node]
        beside = {
            rank[made.of_line[item.line]]
            for items in (self.grid.order[self.grid.items[port.node].level],)
            for item in (self.grid.items[i] for i in items)
            if item.line is not None
        }
        low, high = min(between), max(between)
        assert column == self.grid.levels[self.grid.items[port.node].level]
        return ROW * (1 + sum(low < place < high for place in beside))

    def _climbs(self) -> None:
        add = self.programme
        for line in self.net.lines:
            path = self.grid.along[line.number]
            where = [self.grid.levels[self.grid.items[i].level] for i in path]
            rows = [
                self._variable(line.start),
                *(self.single[i] for i in path[1:-1]),
                self._variable(line.end),
            ]
            first, last = self.roundabout.get(line.number, (0, 0))
            for k in range(len(path) - 1):
                one, other = rows[k], rows[k + 1]
                if one == other:
                    continue
                near = [where[k] - where[0] + first] if line.slants[0] else []
                near += [where[-1] - where[k + 1] + last] if line.slants[1] else []
                ends = [line.start] if k == 0 else []
                ends += [line.end] if k == len(path) - 2 else []
                weight = LEVEL_CLIMB
                if near:
                    weight = min(LEVEL_CLIMB, SLANT_CLIMB + FARTHER * min(near))
                    weight += LATER * min(near)
                if any(self._keeps_level(port) for port in ends):
                    weight = 2 * STEEP
                climb, steep = add.variable(weight), add.variable(STEEP)
                add.at_least(0, (1.0, climb), (1.0, one), (-1.0, other))
                add.at_least(0, (1.0, climb), (-1.0, one), (1.0, other))
                add.at_least(where[k] - where[k + 1], (1.0, steep), (-1.0, climb))

    def _led_back(self) -> Iterator[tuple[int, tuple[int, int]]]:
        """The lines that slant at both ends and lie beyond both, and by how much climbs count as
        further from either end: rather than leave the nearer end to lead back on the way to the
        other, a line climbs there at once."""
        for line in self.net.lines:
            if not all(line.slants):
                continue
            rows = [row for _, row in self.of_line(line.number)]
            start, end = rows[0], rows[-1]
            lowest, highest = max(rows), min(rows)
            if start == end or (lowest <= max(start, end) and highest >= min(start, end)):
                continue
            start_is_nearer = (start > end) == (lowest > max(start, end))
            yield line.number, (ROUNDABOUT, 0) if start_is_nearer else (0, ROUNDABOUT)

    def _keeps_level(self, port: Port) -> bool:
        """Whether a line ends level there: at the name of an edge, or to turn."""
        node = self.net.nodes[port.node]
        return node.shape in ("turn", "box") or node.reach > 0

    def _shapes(self) -> None:
        """The legs of crosses, frames and U-turns among themselves."""
        add = self.programme
        for line in self.net.lines:
            for port, slants in zip((line.start, line.end), line.slants, strict=True):
                if slants:
                    self._leaves(line, port)
                elif self.net.nodes[port.node].toe_at(port.hand, port.place):
                    made, rank = self.grid.straights, self.grid.rank
                    rows = (self.single[port.node], self.port[port])
                    below = rank[made.of_line[line.number]] > rank[made.of_node[port.node]]
                    self._beside(*(rows if below else rows[::-1]), STEEP)
        for node in self.net.nodes:
            if node.shape in ("box", "turn"):
                for hand in ("left", "right"):
                    ports = [self.port[p] for p in self._stacked(node.number, hand)]
                    for upper, lower in itertools.pairwise(ports):
                        self._beside(upper, lower, 0.3 if node.shape == "turn" else STEEP)
                if node.table == "turntable" and node.left and node.right:
                    self._round_one_middle(node)
                elif node.shape == "box" and node.left and node.right:
                    one, other = (self._in_row(node, hand) for hand in ("left", "right"))
                    climb = add.variable(LEVEL_CLIMB)
                    add.at_least(0, (1.0, climb), (1.0, one), (-1.0, other))
                    add.at_least(0, (1.0, climb), (-1.0, one), (1.0, other))

    def _round_one_middle(self, node: Node) -> None:
        """The roads on either side of a turntable lie as far above its middle as below."""
        terms: list[tuple[float, int]] = []
        for sign, hand in ((1.0, "left"), (-1.0, "right")):
            ports = [self.port[p] for p in self._stacked(node.number, hand)]
            terms += [(sign, ports[0]), (sign, ports[-1])]
        # Terms of one row are told as one.
        rows = {row: sum(sign for sign, other in terms if other == row) for _, row in terms}
        off = self.programme.variable(LEVEL_CLIMB)
        for sign in (1.0, -1.0):
            signed = [(sign * value, row) for row, value in rows.items()]
            self.programme.at_least(0, (1.0, off), *signed)

    def middle(self, node: Node) -> float:
        """The row of the middle of a turntable: of the road that is alone on its side, else
        midway between the outermost."""
        sides = [[self.port[p] for p in self._stacked(node.number, hand)]
                 for hand in ("left", "right")]  # fmt: skip
        alone = [ports[0] for ports in sides if len(ports) == 1]
        if alone:
            return self.y[alone[0]]
        ys = [self.y[row] for ports in sides for row in ports]
        return (min(ys) + max(ys)) / 2

    def _in_row(self, node: Node, hand: str) -> int:
        """The row of the leg on one side of a frame that should lie as one on the other does."""
        ports = self._stacked(node.number, hand)
        level = (p for p in ports if node.on(p.hand)[p.place] in node.level)
        return self._variable(next(level, ports[0]))

    def _leaves(self, line: Line, port: Port) -> None:
        """A leg that slants comes away from its points, on the side on which it leads on."""
        made, rank = self.grid.straights, self.grid.rank
        mine, own = made.of_line[line.number], made.of_node[port.node]
        if mine == own:
            return
        path = self.grid.along[line.number]
        far = self._variable(line.end if port == line.start else line.start)
        # Beyond its slant it lies a whole row away; within scissors it has no row of its own.
        whole = not any(self._is_scissors(path[k]) for k in (0, -1))
        wanted = [(far, float(ROW) if whole else 1.0)]
        if len(path) > 2:
            wanted.append((self.single[path[1] if port == line.start else path[-2]], 1.0))
        here = self._variable(port)
        below = rank[mine] > rank[own]
        for row, least in wanted:
            upper, lower = (here, row) if below else (row, here)
            if upper != lower:
                closer = self.programme.variable(2 * STEEP)
                self.programme.at_least(least, (1.0, lower), (-1.0, upper), (1.0, closer))

    def _beside(self, upper: int, lower: int, cost: float) -> None:
        """Two legs one row apart, and more only at a cost."""
        if upper == lower:
            return
        closer = self.programme.variable(2 * STEEP)
        self.programme.at_least(ROW, (1.0, lower), (-1.0, upper), (1.0, closer))
        self.programme.cost[lower] += cost
        self.programme.cost[upper] -= cost
