"""What makes a track plan of the bare track: which way trains run where they run one way only,
and against which leg points lie at rest. The key and the title are in `key.py`."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from math import hypot

from bellcrank.layout.layout_model import Edge, Layout, Leg, Signal, Stop
from bellcrank.picture.drawn import DrawnElement, DrawnWay, Plan
from bellcrank.picture.geometry import Path, Point
from bellcrank.picture.network import across
from bellcrank.picture.svg_notation import number, pair
from bellcrank.routes.route_model import RouteTable

GAP_AT = 13.0
"""How far from the middle of points the leg against which they lie has its gap, in pixels."""

GAP = 5.0
"""How long the gap is."""

SHORTEST_WITH_ARROW = 26.0
"""Shorter pieces of track have no arrow."""


@dataclass(frozen=True, slots=True)
class Annotations:
    """What is shown besides the track.

    title: in large letters below the picture, with `origin`, what it is drawn from, below that.
    key: whether symbols are explained. one_way: the pieces on which trains run one way only,
    each with the leg by which they enter it. positions: whether legs have a gap against which
    points lie at rest.
    """

    title: str = ""
    origin: str = ""
    key: bool = False
    one_way: tuple[Leg, ...] = ()
    positions: bool = False


BARE = Annotations()


def one_way(layout: Layout, table: RouteTable) -> tuple[Leg, ...]:
    """The plain pieces that trains run over one way only, by the leg by which they enter.

    Trains run as routes lead, and up to each signal over the plain track before it. Track
    that neither comes to is left out, and so are sidings: what goes into one comes out again.
    """
    entered: defaultdict[str, set[Leg]] = defaultdict(set)
    for route in table.routes.values():
        for way in route.ways:
            entered[way.element].add(Leg(way.element, way.entry))
    for signal in layout.signals.values():
        for leg in _before(layout, signal):
            entered[leg.element].add(leg)
    return tuple(
        leg
        for name, element in layout.elements.items()
        if element.plain and len(entered[name]) == 1
        for leg in entered[name]
        if not _ends(layout, leg)
    )


def _ends(layout: Layout, entry: Leg) -> bool:
    """Whether plain track that is entered so leads to a stop and nowhere else."""
    seen: set[str] = set()
    while layout.elements[entry.element].plain and entry.element not in seen:
        seen.add(entry.element)
        beyond = layout.joined[across(entry)]
        if not isinstance(beyond, Leg):
            return isinstance(beyond, Stop)
        entry = beyond
    return False


def _before(layout: Layout, signal: Signal) -> Iterator[Leg]:
    """The plain pieces over which trains come to a signal, by the leg by which they enter."""
    end = signal.before
    seen: set[str] = set()
    while isinstance(end, Leg) and layout.elements[end.element].plain and end.element not in seen:
        seen.add(end.element)
        entry = across(end)
        yield entry
        beyond = layout.joined.get(entry)
        if beyond is None or isinstance(beyond, Edge | Stop):
            return
        end = beyond


# ------------------------------------------------------------- marks on the track


def arrows_one_way(plan: Plan, entered: Sequence[Leg]) -> Iterator[str]:
    """A small head on each piece, in the middle of its longest straight part, as trains run."""
    for leg in entered:
        along = plan.elements[leg.element].along
        if along is None:
            continue
        path = along if leg.leg == "left" else along.back()
        straight = max((s for s in path.segments if not s.radius), key=lambda s: s.length)
        if straight.length < SHORTEST_WITH_ARROW:
            continue
        point, d = Path((straight,)).at(straight.length / 2)
        yield (
            f'<path class="one-way" data-on="{escape(leg.element)}" d="{arrow_head(point, d)}"/>'
        )


def arrow_head(point: Point, d: Point) -> str:
    across_ = Point(-d.y, d.x)
    tip, foot = point.moved(d, 5.0), point.moved(d, -4.0)
    wings = foot.moved(across_, 4.0), foot.moved(across_, -4.0)
    return f"M{pair(wings[0])}L{pair(tip)}L{pair(wings[1])}Z"


def gaps(layout: Layout, plan: Plan) -> Iterator[str]:
    """A gap in each leg of points against which these lie at rest: in every drive's first
    position. Slips, whose roads lie close together, have none."""
    for name in plan.elements:
        for a, b in _gaps_of(layout, plan.elements[name]):
            yield (
                f'<line class="against" data-at="{escape(name)}" x1="{number(a.x)}" '
                f'y1="{number(a.y)}" x2="{number(b.x)}" y2="{number(b.y)}"/>'
            )


def _gaps_of(layout: Layout, drawn: DrawnElement) -> Iterator[tuple[Point, Point]]:
    if drawn.along is not None or drawn.frame is not None:
        return
    if any(way.curve is not None for way in drawn.ways):
        return
    resting = [way for way in drawn.ways if _rests(layout, way)]
    if not resting:
        return
    for way in drawn.ways:
        if way in resting:
            continue
        path = way.parts[0]
        middle = _nearest(path, drawn.middle)
        for start, end in ((middle + GAP_AT, middle + GAP_AT + GAP),
                           (middle - GAP_AT, middle - GAP_AT - GAP)):  # fmt: skip
            if min(start, end) > 0 and max(start, end) < path.length:
                (a, _), (b, _) = path.at(start), path.at(end)
                if not any(_near(other.parts[0], b) for other in resting):
                    yield a, b


def _rests(layout: Layout, way: DrawnWay) -> bool:
    return all(layout.drives[drive].positions[0] == position for drive, position in way.when)


def _nearest(path: Path, point: Point) -> float:
    """How far along a path it comes nearest to a point, to the pixel."""
    steps = range(int(path.length) + 1)
    return min(steps, key=lambda s: _apart(path.at(float(s))[0], point), default=0.0)


def _near(path: Path, point: Point) -> bool:
    return any(_apart(path.at(float(s))[0], point) < 3.0 for s in range(int(path.length) + 1))


def _apart(a: Point, b: Point) -> float:
    return hypot(a.x - b.x, a.y - b.y)
