"""From columns and rows to paths: where each line runs, and where along it joints lie."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from bellcrank.layout.layout_model import Edge, Layout, Leg, Signal, TrackEnd
from bellcrank.picture.geometry import Path, Point, Segment
from bellcrank.picture.measures import PIECE, SIGNAL_ROOM, STUB, UNIT, text_width
from bellcrank.picture.network import Chain, Line, Network, Node
from bellcrank.picture.rows import Rows

CORNER = 4.0
"""How far from a bend a joint keeps."""


@dataclass(slots=True)
class Trace:
    """A chain as drawn.

    path: from its first end to its last. joints: how far along it each joint lies.
    """

    chain: Chain
    path: Path
    joints: list[float]


@dataclass(slots=True)
class Traced:
    """All chains as drawn.

    short: by how much lines are too short for what stands on them. climbs: how long lines
    with neither pieces nor signals must be to climb at 45°, with room to turn back.
    """

    traces: list[Trace] = field(default_factory=list)
    short: dict[int, float] = field(default_factory=dict)
    climbs: dict[int, float] = field(default_factory=dict)


def trace(net: Network, rows: Rows, layout: Layout, scale: float) -> Traced:
    """Draw all chains. scale: pixels of a grid unit over its usual size."""
    reading: dict[TrackEnd, Signal] = {s.before: s for s in layout.signals.values()}
    traced = Traced()
    columns = rows.stretched()
    crosses = {node.name: node for node in net.nodes if node.shape in ("cross", "box")}
    for chain in net.chains:
        paths = [_line_path(net, line, rows, columns, scale) for line, _ in chain.parts]
        path = Path(())
        for (_, onward), made in zip(chain.parts, paths, strict=True):
            mine = made if onward else made.back()
            if path.segments:
                path += _turn(path, mine, scale)
            path += mine
        if chain.parts[0][0].start.node != chain.parts[-1][0].start.node or is_open(chain):
            pass
        else:
            path += _turn(path, path, scale)
        path = _from_apex(net, chain, rows, columns, scale, path)
        joints, short = _joints(chain, path, crosses, reading)
        if short > 0:
            number = max(range(len(paths)), key=lambda k: paths[k].length)
            if len(paths) == 3:
                number = 1
            line = chain.parts[number][0]
            traced.short[line.number] = short
        signalled = any(end in reading for pair in chain.joints() for end in pair)
        for line, _ in chain.parts:
            if line.bare and any(line.slants) and not signalled:
                back = 0.0 if rows.leads_on(line.number) else UNIT
                traced.climbs[line.number] = rows.climb(line.number) * UNIT + back
                continue
            steep = rows.too_steep(line.number)
            if steep:
                traced.short[line.number] = max(traced.short.get(line.number, 0.0), steep * UNIT)
        traced.traces.append(Trace(chain, path, joints))
    return traced


def _from_apex(
    net: Network, chain: Chain, rows: Rows, columns: dict[int, float], scale: float, path: Path
) -> Path:
    """A path with what leads to the toe of an apex at either end: down or up, and round."""
    unit = UNIT * scale
    for last, (line, onward) in ((False, chain.parts[0]), (True, chain.parts[-1])):
        port = line.end if onward == last else line.start
        node = net.nodes[port.node]
        if not node.toe_at(port.hand, port.place):
            continue
        x = columns[rows.columns[port.node]] * unit
        y, end = rows.single_row(port.node) * unit, rows.of_port(port) * unit
        sign, down = (1.0 if port.hand == "right" else -1.0), 1.0 if end > y else -1.0
        radius = min(unit, abs(end - y))
        foot = Point(x, end - down * radius)
        arc = Segment(foot, Point(x + sign * radius, end), radius, (sign > 0) != (down > 0))
        upright = Segment(Point(x, y), foot)
        stem = Path((upright, arc) if upright.length > 1e-6 else (arc,))
        path = path + stem.back() if last else stem + path
    return path


def is_open(chain: Chain) -> bool:
    """Whether a chain has two ends: all but a ring of plain track."""
    first = chain.joints()[0][0]
    return not (chain.pieces and first == Leg(chain.pieces[-1].element, _far(chain.pieces[-1])))


def _far(entered: Leg) -> str:
    return "left" if entered.leg == "right" else "right"


def _line_path(
    net: Network, line: Line, rows: Rows, columns: dict[int, float], scale: float
) -> Path:
    """The points of a line, with slants of 45° where the columns leave room for them."""
    unit = UNIT * scale
    places = [(columns[column], row) for column, row in rows.of_line(line.number)]
    begin, end = (Point(*(v * unit for v in places[k])) for k in (0, -1))
    points = [begin]
    nodes = [net.nodes[port.node] for port in (line.start, line.end)]
    last = len(places) - 2
    for k, ((c, r), (c2, r2)) in enumerate(itertools.pairwise(places)):
        gap, climb = c2 - c, r2 - r
        one, other = Point(c * unit, r * unit), Point(c2 * unit, r2 * unit)
        if 0 < abs(climb) < gap - 1e-6 and not (all(line.slants) and last == 0):
            slant = abs(climb) * unit
            if line.slants[1] and (k == last or not line.slants[0]):
                points.append(Point(other.x - slant, one.y))
            elif line.slants[0]:
                points.append(Point(one.x + slant, other.y))
            else:
                middle = (one.x + other.x) / 2
                points += [Point(middle - slant / 2, one.y), Point(middle + slant / 2, other.y)]
        points.append(other)
    # What leads to a frame is level for some way, and comes to the middle of a turntable.
    if nodes[0].shape == "box":
        level = Point(begin.x + nodes[0].spread(line.start.hand) * unit, begin.y)
        middle = rows.middle(nodes[0]) * unit if nodes[0].table == "turntable" else begin.y
        points = [Point(begin.x, middle), level, *(p for p in points[1:] if p.x > level.x)]
    if nodes[1].shape == "box":
        level = Point(end.x - nodes[1].spread(line.end.hand) * unit, end.y)
        middle = rows.middle(nodes[1]) * unit if nodes[1].table == "turntable" else end.y
        points = [*(p for p in points[:-1] if p.x < level.x), level, Point(end.x, middle)]
    return _cut_short(net, line, Path.through([*_blunt(points, unit)]), unit)


def _blunt(points: Sequence[Point], unit: float) -> Iterator[Point]:
    """The same points with a level stretch for each at which track would turn back up or down
    sharply."""
    yield points[0]
    for before, here, after in zip(points, points[1:], points[2:], strict=False):
        one, other = (here.y - before.y, after.y - here.y)
        reach = min(unit / 2, abs(one) / 2, abs(other) / 2)
        if one * other < 0 and here.x - before.x < 2 * abs(one) and after.x > here.x:
            yield Point(here.x - reach, here.y - reach * (1 if one > 0 else -1))
            yield Point(here.x + reach, here.y - reach * (1 if one > 0 else -1))
        else:
            yield here
    if len(points) > 1:
        yield points[-1]


def _cut_short(net: Network, line: Line, path: Path, unit: float) -> Path:
    """The path without what U-turns and the names of edges take up at its ends."""
    cuts = []
    for port in (line.start, line.end):
        node = net.nodes[port.node]
        round_ = node.shape == "turn" or node.toe_at(port.hand, port.place)
        cuts.append(unit if round_ else node.reach)
    if not any(cuts):
        return path
    one, other = path.segments[0].start.x + cuts[0], path.segments[-1].end.x - cuts[1]
    return path.part(_where(path, one), _where(path, other))


def _where(path: Path, x: float) -> float:
    """How far along a path that leads rightwards it comes to a column."""
    done = 0.0
    for segment in path.segments:
        if segment.end.x >= x:
            wide = segment.end.x - segment.start.x
            return done + segment.length * ((x - segment.start.x) / wide if wide else 0.0)
        done += segment.length
    return done


def _turn(before: Path, after: Path, scale: float) -> Path:
    """A U-turn from the end of one path to the start of the next."""
    a, b = before.segments[-1].end, after.segments[0].start
    outwards = before.segments[-1]
    sign = 1.0 if outwards.end.x >= outwards.start.x else -1.0
    down = b.y > a.y
    radius = min(UNIT * scale, abs(b.y - a.y) / 2)
    step = radius if down else -radius
    one = Point(a.x + sign * radius, a.y + step)
    other = Point(b.x + sign * radius, b.y - step)
    clockwise = (sign > 0) == down
    segments = [Segment(a, one, radius, clockwise)]
    if abs(other.y - one.y) > 1e-6:
        segments.append(Segment(one, other))
    segments.append(Segment(other, b, radius, clockwise))
    return Path(tuple(segments))


# --------------------------------------------------------------------- joints


def _joints(
    chain: Chain, path: Path, crosses: dict[str, Node], reading: dict[TrackEnd, Signal]
) -> tuple[list[float], float]:
    """Where along its path the joints of a chain lie, and how much is missing.

    Joints lie on level track, with room for their signals. Room is counted along the
    level stretches alone. crosses: crossings and frames by their names.
    """
    ends = chain.joints()
    back = [SIGNAL_ROOM if one in reading else 0.0 for one, _ in ends]
    fore = [SIGNAL_ROOM if other in reading else 0.0 for _, other in ends]
    low = _margin(crosses, chain.first)
    high = path.length - _margin(crosses, chain.last)
    stretches = _Stretches(path, low, high)
    stretches.leave_out(*chain.left_out)
    if len(ends) == 1:
        middle = path.length / 2
        if not back[0] and not fore[0]:
            return [_off_arcs(path, middle)], 0.0
        where = stretches.nearest(middle, back[0], fore[0])
        return ([where], 0.0) if where is not None else ([middle], SIGNAL_ROOM)
    needs = [
        max(PIECE, text_width(leg.element) + 12) + fore[k] + back[k + 1]
        for k, leg in enumerate(chain.pieces)
    ]
    total = stretches.total
    needed = back[0] + sum(needs) + fore[-1]
    missing = needed - total
    if missing > 0.5:
        step = max(high - low, 1.0) / len(needs)
        return [_off_arcs(path, low + step * k) for k in range(len(ends))], missing
    spare = (total - needed) / len(needs)
    joints: list[float] = []
    done = back[0]
    for k in range(len(ends)):
        wanted = stretches.at(done)
        where = stretches.nearest(wanted, back[k], fore[k])
        if where is None or (joints and where - joints[-1] < PIECE / 2):
            return [stretches.at(total * i / len(needs)) for i in range(len(ends))], UNIT
        joints.append(where)
        if k < len(needs):
            done += needs[k] + spare
    return joints, 0.0


def _margin(crosses: dict[str, Node], end: TrackEnd) -> float:
    """How far from an end the first joint keeps; the roads of a turntable begin in a column."""
    if not isinstance(end, Leg):
        return 6.0 if isinstance(end, Edge) else 0.0
    node = crosses.get(end.element)
    if node is None:
        return STUB
    if node.table != "turntable":
        return 1.5 * UNIT
    return node.spread("left" if end in node.left else "right") * UNIT + CORNER


def _off_arcs(path: Path, where: float) -> float:
    """The nearest place that lies on no arc."""
    done = 0.0
    for segment in path.segments:
        if segment.radius and done < where < done + segment.length:
            return done if where - done < segment.length / 2 else done + segment.length
        done += segment.length
    return where


class _Stretches:
    """The level stretches of a path between two lengths along it."""

    def __init__(self, path: Path, low: float, high: float) -> None:
        self.parts: list[tuple[float, float]] = []
        for start, end in path.levels():
            start, end = max(start + (CORNER if start > 0 else 0), low), min(end, high)
            if end - start > 1:
                self.parts.append((start, end))

    def leave_out(self, first: int, last: int) -> None:
        """Without so many stretches at either end; of a lone one, without so much of its length."""
        if first + last < len(self.parts):
            self.parts = self.parts[first : len(self.parts) - last]
        elif len(self.parts) == 1:
            (start, end), room = self.parts[0], SIGNAL_ROOM + UNIT
            if end - start > (first + last) * room:
                self.parts = [(start + first * room, end - last * room)]

    @property
    def total(self) -> float:
        return sum(end - start for start, end in self.parts)

    def at(self, length: float) -> float:
        """The place so far along the level stretches."""
        for start, end in self.parts:
            if length <= end - start + 1e-6:
                return start + length
            length -= end - start
        return self.parts[-1][1]

    def nearest(self, wanted: float, back: float, fore: float) -> float | None:
        """The place nearest to a wanted one with some room before and beyond it."""
        best: Sequence[float] = [
            min(max(wanted, start + back), end - fore)
            for start, end in self.parts
            if end - start >= back + fore - 1e-6
        ]
        return min(best, key=lambda v: abs(v - wanted), default=None)
