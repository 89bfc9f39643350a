"""Which straight line runs above which, and so the order from top to bottom in each column.

Every straight line (`straight.py`) has one row, so one order of all of them says what lies
above what wherever two lie side by side. Objective, the first part counting most: few
crossings of lines outside fittings; the legs of each fitting in their own order; what the
layout wants drawn above what (`wished.py`), earlier wishes before later ones; rings that are
joined one inside the other; lines that
lead on do not lead back; the order of
the text. A line that slants from one
straight line to another crosses those that lie between the two in its column, so crossings
are a sum over betweenness of three lines. That is a linear ordering problem; it is solved
by inserting one line after another at the best place and then sifting: each in turn is
moved to where it costs least (Rudell's sifting as used for crossings by Matuszewski,
Schönfeld, Molitor, "Using sifting for k-layer straightline crossing minimization", Graph
Drawing 1999, LNCS 1731), until nothing improves. Ties keep the order of the text, and of an
order and the same upside down that is taken which has more of the text's, where main lines count
more than sidings: else a line added anywhere could turn the whole over.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil
from typing import NamedTuple

from bellcrank.layout.layout_model import Hand
from bellcrank.picture.measures import ROW, UNIT
from bellcrank.picture.network import Line, Network, Node, Port
from bellcrank.picture.rings import Nested
from bellcrank.picture.straight import Straights, lines_at, straights
from bellcrank.picture.wished import Wished, wished

CROSSING = 1_000_000
TWIST = 2 * CROSSING
WISH = 200_000
EARLIER = 1_000
NEST = 10_000
BACK = 60
EARLIER_BACK = 20
INVERTED = 1
INVERTED_MAINS = 4
"""So much more for two lines that lie side by side over the whole width, and by the square of
their share for others: sidings do not outvote main lines, whose order they would turn over."""

MOST_SWEEPS = 12

MOST_MIRRORED = 20
"""Straight lines of which stretches are tried upside down."""

MOST_EXCHANGED = 40
"""Straight lines of which two are exchanged."""

MOST_BOXES = 6
"""Frames that are tried upside down."""


@dataclass(slots=True)
class Item:
    """What lies in a column: a node, or a line that passes it."""

    level: int
    node: Node | None
    line: int | None


@dataclass(slots=True)
class Grid:
    """Everything by columns.

    levels: the columns in which anything lies. order: the items in each, from the top.
    along: the items of each line, both nodes included. flipped: the nodes whose legs
    stand upside down. rank: the place of each straight line from the top. crossed: the
    pairs of lines that cross outside fittings, by number, that which slants first.
    wished: what is kept of the layout's wishes.
    """

    levels: list[int]
    items: list[Item]
    along: list[list[int]]
    straights: Straights
    order: list[list[int]] = field(default_factory=list)
    flipped: set[int] = field(default_factory=set)
    rank: list[int] = field(default_factory=list)
    crossed: set[tuple[int, int]] = field(default_factory=set)
    wished: Wished = field(default_factory=Wished)


def grid(
    net: Network, columns: list[int], start: Sequence[int] = (), nested: Sequence[Nested] = ()
) -> Grid:
    """Cut the lines at the columns and order these.

    start: straight lines in an order to begin with. nested: rings that should lie one inside
    the other.
    """
    levels = _levels(net, columns)
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
    made = Grid(levels, items, along, straights(net))
    spans = Spans(net, columns, made.straights)
    made.wished = wished(net, spans.columns_of_line, columns, made.straights)
    at = lines_at(net)
    ordering = _Ordering(net, columns, spans, made.straights, at, made.wished, nested)
    order = ordering.best(start)
    made.rank = [0] * made.straights.count
    for place, number in enumerate(order):
        made.rank[number] = place
    made.flipped = _flipped(net, made, at) | ordering.turned_over
    made.order = _by_columns(made, at)
    made.crossed = set(ordering.crossed(order))
    made.wished.leave_out(made.rank)
    return made


def _levels(net: Network, columns: list[int]) -> list[int]:
    used = set(columns)
    for node in net.nodes:
        column = columns[node.number]
        if node.shape == "turn":
            used.add(column + 1 if node.right else column - 1)
        elif node.shape == "end" and node.reach:
            used.add(column + (1 if node.right else -1) * ceil(node.reach / UNIT))
        elif node.shape == "cross" and not node.level:
            used |= {column - 1, column + 1}
        elif node.shape in ("fan", "apex", "cross"):
            # Where the legs of points have come as far apart as lines are.
            used |= {column + ROW} if len(node.right) > 1 or node.shape == "apex" else set()
            used |= {column - ROW} if len(node.left) > 1 or node.shape == "apex" else set()
    return sorted(c for c in used if min(columns) <= c <= max(columns))


def _at_legs(made: Straights, at: Mapping[Port, Line], node: Node, hand: Hand) -> list[int]:
    """The straight lines at the legs of a node on one hand, as these come."""
    ports = (Port(node.number, hand, place) for place in range(len(node.on(hand))))
    return [made.of_line[at[port].number] for port in ports]


def _flipped(net: Network, made: Grid, at: Mapping[Port, Line]) -> set[int]:
    """The U-turns that stand upside down."""
    flipped = set()
    for node in net.nodes:
        if node.shape == "turn":
            upper, lower = _at_legs(made.straights, at, node, node.hand)
            if made.rank[upper] > made.rank[lower]:
                flipped.add(node.number)
    return flipped


def _by_columns(made: Grid, at: Mapping[Port, Line]) -> list[list[int]]:
    """The items of each column, from the top."""
    rank = made.rank
    order: list[list[tuple[float, int]]] = [[] for _ in made.levels]
    for number, item in enumerate(made.items):
        if item.line is not None:
            place = float(rank[made.straights.of_line[item.line]])
        elif number in made.straights.of_node:
            place = float(rank[made.straights.of_node[number]])
        else:
            assert item.node is not None
            legs = _at_legs(made.straights, at, item.node, item.node.hand)
            place = 0.5 + min(rank[straight] for straight in legs)
        order[item.level].append((place, number))
    return [[number for _, number in sorted(listed)] for listed in order]


class Spans:
    """From which column to which each line and each straight line reaches."""

    def __init__(self, net: Network, columns: Sequence[int], made: Straights) -> None:
        self.columns_of_line = [
            (columns[line.start.node], columns[line.end.node]) for line in net.lines
        ]
        self.lines: list[list[int]] = [[] for _ in range(made.count)]
        self.low = [10**9] * made.count
        self.high = [-(10**9)] * made.count
        for line in net.lines:
            number = made.of_line[line.number]
            self.lines[number].append(line.number)
            self._reach(number, *self.columns_of_line[line.number])
        for node, number in made.of_node.items():
            self._reach(number, columns[node], columns[node])
        for listed in self.lines:
            listed.sort(key=lambda n: self.columns_of_line[n])

    def _reach(self, number: int, low: int, high: int) -> None:
        self.low[number] = min(self.low[number], low)
        self.high[number] = max(self.high[number], high)

    def line_at(self, number: int, low: int, high: int) -> int | None:
        """The line of a straight line that reaches furthest between two columns."""
        best: tuple[int, int] | None = None
        for line in self.lines[number]:
            one, other = self.columns_of_line[line]
            shared = min(high, other) - max(low, one)
            if shared >= 0 and (best is None or shared > best[0]):
                best = (shared, line)
        return best[1] if best is not None else None


class _Term(NamedTuple):
    """What an order costs for two or three straight lines.

    between: the middle one lies between the other two, or (outside) does not, or (above)
    the first lies below the second, and middle is not looked at.
    """

    kind: str
    one: int
    other: int
    middle: int
    cost: int


class _Ordering:
    def __init__(
        self,
        net: Network,
        columns: Sequence[int],
        spans: Spans,
        made: Straights,
        at: Mapping[Port, Line],
        wishes: Wished,
        nested: Sequence[Nested],
    ) -> None:
        self.net, self.columns, self.spans = net, columns, spans
        self.made, self.at = made, at
        self.turned_over: set[int] = set()
        self.crossings: list[tuple[_Term, int, int]] = []
        self.terms: list[_Term] = []
        self.crossings += self._slants()
        self.crossings += self._turns()
        self.terms += [term for term, _, _ in self.crossings]
        for outer, inner in nested:
            one, other = (self.made.of_line[line] for line in outer.lines)
            for line in inner.lines:
                self.terms.append(_Term("outside", one, other, self.made.of_line[line], NEST))
        self.fitting_terms = list(self._fittings())
        for nth, (_, pairs) in enumerate(wishes.pairs):
            cost = WISH + EARLIER * max(0, 100 - nth)
            self.terms += [_Term("above", a, b, -1, cost) for a, b in pairs]
        self.boxes = [n for n in net.nodes if n.shape == "box"]
        self.of: list[list[_Term]] = []
        self.mains: list[tuple[int, int, int]] = []

    def _at_legs(self, node: Node, hand: Hand) -> list[int]:
        return _at_legs(self.made, self.at, node, hand)

    # ------------------------------------------------------------------- terms

    def _attached(self) -> Iterator[tuple[int, int, Port, Line]]:
        """Straight lines that begin or end on a node of another: both, where, by which line."""
        for node in self.net.nodes:
            if node.shape not in ("fan", "apex", "cross", "box"):
                continue
            for port in _ports(node):
                line = self.at[port]
                mine, other = self.made.of_line[line.number], self.made.of_node[node.number]
                if mine != other:
                    yield mine, other, port, line

    def _passing(self, column: int, hand: Hand) -> Iterator[int]:
        """The straight lines that lie beside a node, on one hand, and come from elsewhere."""
        low, high = self.spans.low, self.spans.high
        for number in range(self.made.count):
            if (hand == "right" and low[number] <= column < high[number]) or (
                hand == "left" and low[number] < column <= high[number]
            ):
                yield number

    def _slants(self) -> Iterator[tuple[_Term, int, int]]:
        """What a line that slants from one straight line to another crosses."""
        beside: dict[tuple[int, Hand], set[int]] = {}
        for mine, _, port, _ in self._attached():
            beside.setdefault((port.node, port.hand), set()).add(mine)
        for mine, other, port, line in self._attached():
            column = self.columns[port.node]
            for number in self._passing(column, port.hand):
                if number in (mine, other):
                    continue
                if number in beside[port.node, port.hand] and self._begins(number, column):
                    continue
                step = 1 if port.hand == "right" else -1
                crossed = self.spans.line_at(number, *sorted((column, column + step)))
                if crossed is not None:
                    term = _Term("between", mine, other, number, CROSSING)
                    yield term, line.number, crossed

    def _begins(self, number: int, column: int) -> bool:
        return column in (self.spans.low[number], self.spans.high[number])

    def _turns(self) -> Iterator[tuple[_Term, int, int]]:
        """What a U-turn crosses."""
        for node in self.net.nodes:
            if node.shape != "turn":
                continue
            one, other = self._at_legs(node, node.hand)
            upper = self.at[Port(node.number, node.hand, 0)]
            column = self.columns[node.number]
            for number in self._passing(column, node.hand):
                step = -1 if node.hand == "left" else 1
                crossed = self.spans.line_at(number, *sorted((column, column + step)))
                if number not in (one, other) and crossed is not None:
                    term = _Term("between", one, other, number, CROSSING)
                    yield term, upper.number, crossed

    def _fittings(self) -> Iterator[_Term]:
        """That the legs of each fitting come in their own order."""
        for node in self.net.nodes:
            if node.shape == "box":
                yield from self._framed(node)
            elif node.shape == "apex":
                yield from self._toe_away(node)
            elif node.shape in ("fan", "cross"):
                own = self.made.of_node[node.number]
                for hand in _HANDS:
                    sides = self._sides(node, hand)
                    for one, other in itertools.combinations(sides, 2):
                        if (one[0] < 0) != (other[0] < 0):
                            yield _Term("outside", one[1], other[1], own, TWIST)
                        elif one[0] < 0:  # the first is further from the level leg
                            yield _Term("outside", one[1], own, other[1], TWIST)
                        else:
                            yield _Term("outside", other[1], own, one[1], TWIST)
                if node.shape == "cross":
                    yield from self._crossing_roads(node, own)

        yield from self._back()

    def _back(self) -> Iterator[_Term]:
        """What leads on from a line that slants does not lead back, and a line that slants at
        both ends lies between the two that it joins; rather the earlier than the later."""
        joined: dict[int, list[int]] = {}
        slanting = [line.number for line in self.net.lines if line.bare and all(line.slants)]
        for mine, other, _, line in self._attached():
            joined.setdefault(other, []).append(mine)
            if line.bare and all(line.slants):
                start, end = (self.made.of_node.get(p.node) for p in (line.start, line.end))
                if start == other and end is not None and end != start:
                    later = slanting.index(line.number) * EARLIER_BACK // len(slanting)
                    yield _Term("outside", start, end, mine, BACK + EARLIER_BACK - later)
        for mine, other, _, _ in self._attached():
            for number in joined.get(mine, ()):
                if number != other:
                    yield _Term("between", mine, other, number, BACK)

    def _sides(self, node: Node, hand: Hand) -> list[tuple[int, int]]:
        """The legs beside the level one: how far above (or below) it, and their lines."""
        legs = node.on(hand)
        if node.shape == "cross" and not node.level:
            upper, lower = self._at_legs(node, hand)
            return [(-1, upper), (1, lower)]
        level = next((k for k, leg in enumerate(legs) if leg in node.level), None)
        if level is None:
            return []
        numbers = self._at_legs(node, hand)
        return [(k - level, number) for k, number in enumerate(numbers) if k != level]

    def _toe_away(self, node: Node) -> Iterator[_Term]:
        """That the toe of points leads away from both their legs."""
        own = self.made.of_node[node.number]
        lines = [(port, self.made.of_line[self.at[port].number]) for port in _ports(node)]
        toes = [line for port, line in lines if node.on(port.hand)[port.place] in node.level]
        for port, line in lines:
            if node.on(port.hand)[port.place] not in node.level:
                yield _Term("outside", toes[0], line, own, TWIST)

    def _crossing_roads(self, node: Node, own: int) -> Iterator[_Term]:
        """That a road comes out of a crossing on the other side."""
        for place in (0, 1):
            one = self._at_legs(node, "left")[place]
            other = self._at_legs(node, "right")[1 - place]
            if own not in (one, other):
                yield _Term("outside", one, other, own, TWIST)

    def _framed(self, node: Node) -> Iterator[_Term]:
        """That the legs of a frame come from the top to the bottom."""
        over = node.number in self.turned_over
        for hand in _HANDS:
            numbers = self._at_legs(node, hand)
            if over:
                numbers.reverse()
            for one, other in itertools.pairwise(numbers):
                if one != other:
                    yield _Term("above", one, other, -1, TWIST)

    def _in_the_text(self) -> Iterator[_Term]:
        """The order of the text, for straight lines that lie side by side."""
        low, high = self.spans.low, self.spans.high
        numbers = sorted(range(self.made.count), key=low.__getitem__)
        whole = max(1, max(high, default=0) - min(low, default=0))
        active: list[int] = []
        for number in numbers:
            active = [n for n in active if high[n] > low[number]]
            for other in active:
                found = self._side_by_side(number, other)
                if found is not None:
                    upper, lower = (number, other) if found[0] < found[1] else (other, number)
                    shared = min(high[number], high[other]) - max(low[number], low[other])
                    self.mains.append((upper, lower, INVERTED_MAINS * shared**2 // whole**2))
                    yield _Term("above", upper, lower, -1, INVERTED)
            active.append(number)

    def _side_by_side(self, one: int, other: int) -> tuple[int, int] | None:
        """The two lines with pieces that lie furthest beside each other."""
        best: tuple[int, int] | None = None
        furthest = 0
        reach = self.spans.columns_of_line
        mine, theirs = (
            [n for n in self.spans.lines[s] if not self.net.lines[n].bare] for s in (one, other)
        )
        k = 0
        for a in mine:
            while k < len(theirs) and reach[theirs[k]][1] <= reach[a][0]:
                k += 1
            for b in theirs[k:]:
                if reach[b][0] >= reach[a][1]:
                    break
                shared = min(reach[a][1], reach[b][1]) - max(reach[a][0], reach[b][0])
                if shared > furthest:
                    best, furthest = (a, b), shared
        return best

    # ------------------------------------------------------------------ search

    def best(self, start: Sequence[int]) -> list[int]:
        """The best order that is found."""
        text = list(self._in_the_text())
        terms = self.terms + self.fitting_terms + text
        order = self._found(terms, start)
        cost = self._cost(order, terms)
        for node in self.boxes[:MOST_BOXES]:
            self.turned_over ^= {node.number}
            changed = self.terms + list(self._fittings()) + text
            other = self._found(changed, order)
            if self._cost(other, changed) < cost:
                order, cost = other, self._cost(other, changed)
            else:
                self.turned_over ^= {node.number}
        return order

    def _found(self, terms: list[_Term], start: Sequence[int]) -> list[int]:
        self.of = [[] for _ in range(self.made.count)]
        for term in terms:
            for number in {term.one, term.other, term.middle} - {-1}:
                self.of[number].append(term)
        if len(start) == self.made.count:
            return self._sifted(list(start))
        inserted = self._inserted()
        order = self._exchanged(self._sifted(inserted), terms)
        for begun in self._starts(inserted):
            cost = self._cost(order, terms)
            if cost < WISH:
                break
            other = self._mirrored(self._sifted(begun), terms)
            if self._cost(other, terms) < cost:
                order = other
        other = self._sifted(order[::-1])
        return min(order, other, key=lambda one: self._cost(one, terms) + self._of_mains(one))

    def _of_mains(self, order: list[int]) -> int:
        """What an order costs besides for lines that lie side by side far along."""
        at = {number: place for place, number in enumerate(order)}
        return sum(cost for upper, lower, cost in self.mains if at[upper] > at[lower])

    def _exchanged(self, order: list[int], terms: list[_Term]) -> list[int]:
        """Put another line where one that leads back lies, and that at its best place, while the
        order is better for it."""
        if len(order) > MOST_EXCHANGED:
            return order
        cost = self._cost(order, terms)
        improved = True
        while improved and cost >= BACK:
            improved = False
            at = {number: place for place, number in enumerate(order)}
            back = {t.middle for t in terms if t.cost >= BACK and t.middle >= 0 and _holds(t, at)}
            for one, other in itertools.product(sorted(back), range(len(order))):
                changed = [n for n in order if n not in (one, order[other])]
                changed.insert(min(at[one], len(changed)), order[other])
                if one != order[other]:
                    changed.insert(self._best_place(changed, one, at[one]), one)
                changed = self._sifted(changed)
                found = self._cost(changed, terms)
                if found < cost:
                    order, cost, improved = changed, found, True
                    break
        return order

    def _starts(self, inserted: list[int]) -> Iterator[list[int]]:
        """Orders to begin with where the first found has crossings or misses a wish."""
        yield inserted
        yield inserted[::-1]
        yield list(range(self.made.count))
        yield list(range(self.made.count))[::-1]

    def _mirrored(self, order: list[int], terms: list[_Term]) -> list[int]:
        """Turn stretches of an order upside down while that makes it better."""
        count = len(order)
        if count > MOST_MIRRORED:
            return order
        cost = self._cost(order, terms)
        improved = True
        while improved and cost >= WISH:
            improved = False
            for first, last in itertools.combinations(range(count + 1), 2):
                if last - first < 2:
                    continue
                other = [*order[:first], *order[first:last][::-1], *order[last:]]
                found = self._cost(other, terms)
                if found < cost:
                    order, cost, improved = other, found, True
        return self._sifted(order)

    def _inserted(self) -> list[int]:
        """One straight line after another, as they are come to along the track, each at its
        best place."""
        beside: list[list[int]] = [[] for _ in range(self.made.count)]
        for mine, other, _, _ in self._attached():
            beside[mine].append(other)
            beside[other].append(mine)
        for node in self.net.nodes:
            if node.shape == "turn":
                one, other = self._at_legs(node, node.hand)
                beside[one].append(other)
                beside[other].append(one)
        order: list[int] = []
        seen: set[int] = set()
        for root in range(self.made.count):
            queue = [root]
            for number in queue:
                if number in seen:
                    continue
                seen.add(number)
                queue.extend(sorted(beside[number]))
                place = self._best_place(order, number, len(order))
                order.insert(place, number)
        return order

    def _sifted(self, order: list[int]) -> list[int]:
        for _ in range(MOST_SWEEPS):
            moved = False
            for number in range(self.made.count):
                place = order.index(number)
                rest = order[:place] + order[place + 1 :]
                better = self._best_place(rest, number, place)
                if better != place:
                    order = [*rest[:better], number, *rest[better:]]
                    moved = True
            if not moved:
                break
        return order

    def _best_place(self, rest: list[int], number: int, now: int) -> int:
        """Where a straight line costs least among others; that nearest to where it is."""
        at = {n: k for k, n in enumerate(rest)}
        change = [0] * (len(rest) + 2)

        def add(first: int, last: int, cost: int) -> None:
            """For all places from the first to the last."""
            if first <= last:
                change[first] += cost
                change[last + 1] -= cost

        end = len(rest)
        for term in self.of[number]:
            kind, one, other, middle, cost = term
            if kind == "above":
                if one == number and other in at:
                    add(at[other] + 1, end, cost)
                elif other == number and one in at:
                    add(0, at[one], cost)
                continue
            if kind == "outside":
                add(0, end, cost)
                cost = -cost
            if middle == number:
                if one in at and other in at:
                    low, high = sorted((at[one], at[other]))
                    add(low + 1, high, cost)
                elif kind == "outside":
                    add(0, end, cost)
                continue
            fixed = other if one == number else one
            if fixed in at and middle in at:
                if at[middle] > at[fixed]:
                    add(at[middle] + 1, end, cost)
                else:
                    add(0, at[middle], cost)
            elif kind == "outside":
                add(0, end, cost)
        best, cost, least = now, 0, None
        for place in range(end + 1):
            cost += change[place]
            key = (cost, abs(place - now))
            if least is None or key < least:
                best, least = place, key
        return best

    def _cost(self, order: list[int], terms: Sequence[_Term]) -> int:
        at = {number: place for place, number in enumerate(order)}
        return sum(term.cost for term in terms if _holds(term, at))

    def crossed(self, order: list[int]) -> Iterator[tuple[int, int]]:
        """The lines that cross in an order, that which slants or turns first."""
        at = {number: place for place, number in enumerate(order)}
        for term, one, other in self.crossings:
            if _holds(term, at):
                yield one, other


_HANDS: tuple[Hand, Hand] = ("left", "right")


def _ports(node: Node) -> Iterator[Port]:
    for hand in _HANDS:
        for place in range(len(node.on(hand))):
            yield Port(node.number, hand, place)


def _holds(term: _Term, at: dict[int, int]) -> bool:
    """Whether an order costs what a term says."""
    if term.kind == "above":
        return at[term.one] > at[term.other]
    low, high = sorted((at[term.one], at[term.other]))
    between = low < at[term.middle] < high
    return between == (term.kind == "between")
