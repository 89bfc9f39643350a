"""Where lines cross without a fitting, and which of them passes over the other."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from math import hypot, inf
from typing import NamedTuple

import networkx as nx

from bellcrank.layout.shown_model import BridgeOver
from bellcrank.picture.drawn import SLIP_CURVE, Bridge, DrawnElement, Plan
from bellcrank.picture.geometry import Path, Point, around, cells, crossing


class Stretch(NamedTuple):
    """What an element has of a line between two fittings.

    names: of all that stands for this stretch in the text. path: of a leg of a fitting.
    """

    names: frozenset[str]
    path: Path | None


class _Crossed(NamedTuple):
    """A straight part of a path. first: whether the path begins with it."""

    element: str
    start: Point
    end: Point
    first: bool


def bridges(
    made: Plan, stated: Sequence[BridgeOver], lines: Mapping[str, Sequence[Stretch]]
) -> tuple[list[Bridge], list[BridgeOver]]:
    """Where lines of different elements cross, and the bridges that are stated but not there.

    The line that is stated to passes over the other; else that of the later in the text.
    lines: what each element has of each line.
    """
    rank = {name: k for k, name in enumerate(made.elements)}
    kept: set[BridgeOver] = set()
    found: dict[tuple[str, str, Point], Bridge] = {}
    for one, other, point in _crossings(made):
        names = [_names_at(crossed.element, point, lines) for crossed in (one, other)]
        over_first = rank[one.element] > rank[other.element]
        for bridge in stated:
            if bridge.upper in names[0] and bridge.lower in names[1]:
                over_first = True
            elif bridge.upper in names[1] and bridge.lower in names[0]:
                over_first = False
            else:
                continue
            kept.add(bridge)
            break
        over, under = (one, other) if over_first else (other, one)
        start, end = over.start, over.end
        size = hypot(end.x - start.x, end.y - start.y)
        direction = Point((end.x - start.x) / size, (end.y - start.y) / size)
        rounded = Point(round(point.x, 1), round(point.y, 1))
        bridge_ = Bridge(over.element, under.element, point, direction)
        found.setdefault((over.element, under.element, rounded), bridge_)
    return list(found.values()), [bridge for bridge in stated if bridge not in kept]


def drawn_order(made: Plan) -> list[str]:
    """The elements as they are drawn one after another: as the text has them, but what passes
    over something later than that, where it can be."""
    rank = {name: k for k, name in enumerate(made.elements)}
    pairs = [(b.under, b.over) for b in made.bridges if b.under != b.over]
    if all(rank[under] < rank[over] for under, over in pairs):
        return list(rank)
    order: nx.DiGraph = nx.DiGraph(pairs)
    order.add_nodes_from(rank)
    try:
        return list(nx.lexicographical_topological_sort(order, rank.__getitem__))
    except nx.NetworkXUnfeasible:  # each of some lines passes over the next, round about
        return list(rank)


def _names_at(name: str, point: Point, lines: Mapping[str, Sequence[Stretch]]) -> frozenset[str]:
    """All that may stand in the text for the line on which an element has a point."""
    own = lines.get(name, ())
    near = min(own, key=lambda s: _distance(s.path, point), default=None)
    return near.names if near is not None else frozenset((name,))


def _distance(path: Path | None, point: Point) -> float:
    if path is None:
        return 0.0
    return min((_aside(point, a, b) for a, b in path.chords()), default=inf)


def _aside(point: Point, a: Point, b: Point) -> float:
    """How far a point is from a segment."""
    along = Point(b.x - a.x, b.y - a.y)
    square = along.x**2 + along.y**2
    share = ((point.x - a.x) * along.x + (point.y - a.y) * along.y) / square if square else 0.0
    near = a.moved(along, min(1.0, max(0.0, share)))
    return hypot(point.x - near.x, point.y - near.y)


def _crossings(made: Plan) -> list[tuple[_Crossed, _Crossed, Point]]:
    segments: dict[tuple[int, int], list[_Crossed]] = defaultdict(list)
    for name, element in made.elements.items():
        for way in element.ways:
            for path in way.parts:
                for k, (a, b) in enumerate(path.chords()):
                    for cell in cells(around((a, b))):
                        segments[cell].append(_Crossed(name, a, b, k == 0))
    found = []
    for listed in segments.values():
        for k, one in enumerate(listed):
            for other in listed[k + 1 :]:
                point = _crossing(one, other)
                if point is None:
                    continue
                if one.element == other.element and _within(made.elements[one.element], point):
                    continue
                found.append((one, other, point))
    return found


def _crossing(one: _Crossed, other: _Crossed) -> Point | None:
    """Where two parts of paths cross, within both or where one of them joins the part before it:
    where both begin two paths meet, or are one."""
    a, b = (
        part if part.first else part._replace(start=part.start.moved(_back(part), 1e-4))
        for part in (one, other)
    )
    point = crossing(a.start, a.end, b.start, b.end)
    if point is None or all(_distance_between(point, part.start) < 0.1 for part in (one, other)):
        return None
    return point


def _distance_between(one: Point, other: Point) -> float:
    return hypot(one.x - other.x, one.y - other.y)


def _back(part: _Crossed) -> Point:
    return Point(part.start.x - part.end.x, part.start.y - part.end.y)


def _within(element: DrawnElement, point: Point) -> bool:
    """Whether two ways of a fitting cross here in the fitting itself."""
    if element.frame is not None:
        (left, top), (right, bottom) = element.frame
        return left < point.x < right and top < point.y < bottom
    return hypot(point.x - element.middle.x, point.y - element.middle.y) < SLIP_CURVE + 2
