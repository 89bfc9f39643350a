"""The plan: every element, joint, signal and end of track with its place in the picture.

Drawn in rounds: columns, order, rows, paths. Where a line proves too short for what
stands along it, it is made longer and the round begins again.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import hypot
from typing import Literal

from bellcrank.layout.layout_model import Edge, Hand, KindWay, Layout, Leg, Stop, Work
from bellcrank.picture.arranging import (
    aligned,
    arrange,
    clear_of_tables,
    first_within,
    nesting,
    widened,
)
from bellcrank.picture.bridging import Stretch, bridges, drawn_order
from bellcrank.picture.clearing import cramped_signals
from bellcrank.picture.columns import scissors, set_needs
from bellcrank.picture.drawn import (
    SLIP_CURVE,
    TABLE,
    TURNTABLE,
    DrawnElement,
    DrawnEnd,
    DrawnJoint,
    DrawnSignal,
    DrawnWay,
    Plan,
)
from bellcrank.picture.geometry import Box, Path, Point, Segment, around
from bellcrank.picture.measures import UNIT
from bellcrank.picture.network import Chain, Network, Node
from bellcrank.picture.platforms import lay_platforms
from bellcrank.picture.rows import Rows
from bellcrank.picture.sides import network
from bellcrank.picture.tracing import Traced, is_open, trace

MOST_ROUNDS = 12

SETTLING = 4
"""Rounds in which lines that could be shorter are reason enough for another."""


def plan(layout: Layout, *, signals: Hand = "left", scale: float = 1.0) -> Plan:
    """Place everything.

    signals: the side of the line on which they stand, as their trains go.
    scale: how much further apart than usual lines lie.
    """
    net = network(layout)
    set_needs(net, layout)
    least = [line.need for line in net.lines]
    within = clear_of_tables(net, first_within(net))
    for round_ in range(MOST_ROUNDS):
        within = nesting(net, within)
        places, made = aligned(net, within, *arrange(net, within))
        rows = Rows(net, made, places)
        traced = trace(net, rows, layout, scale)
        last = round_ + 1 == MOST_ROUNDS
        moved = _lengthen(net, traced, least, places)
        if (traced.short or moved == "longer" or (moved and round_ < SETTLING)) and not last:
            continue
        drawn = _assemble(layout, net, traced, signals)
        if rows.steep:
            there, other = widened(net, within, rows)
            wide = _assemble(
                layout, net, trace(net, Rows(net, other, there), layout, scale), signals
            )
            if len(wide.bridges) <= len(drawn.bridges):
                drawn, made = wide, other
        cramped = cramped_signals(layout, drawn)
        if not cramped or last:
            break
        for chain in net.chains:
            _make_room(chain, cramped, least, elsewhere=round_ % 2 == 1)
    drawn.unkept = tuple(made.wished.unkept)
    drawn.platforms, without = lay_platforms(layout, drawn)
    drawn.no_platforms = tuple(without)
    return drawn


def _lengthen(
    net: Network, traced: Traced, least: list[float], places: list[int]
) -> Literal["longer", "shorter"] | None:
    """Make lines as long as they must be, those with nothing on them also no longer; says
    whether one of these was too short to climb at 45°, or could be shorter."""
    for number, missing in traced.short.items():
        net.lines[number].need += missing + UNIT / 2
    climbs = dict(traced.climbs)
    for group in scissors(net):
        climb = sum(climbs[number] for number in group.legs) / 4
        climbs.update(dict.fromkeys(group.legs, climb))
        for number in group.mains:
            net.lines[number].need = max(least[number], 2 * climb)
    moved: Literal["longer", "shorter"] | None = None
    for number, climb in climbs.items():
        line = net.lines[number]
        if line.need > max(least[number], climb) + 1e-6:
            moved = moved or "shorter"
        line.need = max(least[number], climb)
        if climb > (places[line.end.node] - places[line.start.node]) * UNIT + 1e-6:
            moved = "longer"
    return moved


def _make_room(
    chain: Chain, cramped: set[Leg | Edge], least: list[float], *, elsewhere: bool
) -> None:
    """Lengthen a chain with cramped signals, or leave the stretch on which they stand."""
    joints = chain.joints()
    there = [k for k, pair in enumerate(joints) if any(end in cramped for end in pair)]
    if not there:
        return
    for line, _ in chain.parts:
        line.need += 2 * UNIT
        least[line.number] += 2 * UNIT
    if elsewhere:
        first, last = chain.left_out
        half = (len(joints) - 1) / 2
        first += any(k <= half for k in there)
        last += any(k > half for k in there)
        chain.left_out = (first, last)


def _assemble(layout: Layout, net: Network, traced: Traced, hand: Hand) -> Plan:
    made = Plan()
    legs: dict[Leg, Path] = {}
    pieces: dict[str, Path] = {}
    where: dict[Leg | Edge | Stop, tuple[Point, Point]] = {}
    for trace_ in traced.traces:
        chain, path, at = trace_.chain, trace_.path, trace_.joints
        ends = chain.joints()
        if isinstance(chain.first, Leg) and not layout.elements[chain.first.element].plain:
            legs[chain.first] = path.part(0, at[0])
        if isinstance(chain.last, Leg) and not layout.elements[chain.last.element].plain:
            legs[chain.last] = path.part(at[-1], path.length).back()
        for k, entered in enumerate(chain.pieces):
            piece = path.part(at[k], at[k + 1])
            if k + 1 == len(chain.pieces) and not is_open(chain):
                piece = path.part(at[k], path.length) + path.part(0, at[0])
            pieces[entered.element] = piece if entered.leg == "left" else piece.back()
        if not is_open(chain):
            ends = ends[:-1]
        for k, (one, other) in enumerate(ends):
            point, direction = path.at(at[k])
            where[one] = (point, direction)
            where[other] = (point, Point(-direction.x, -direction.y))
            _add_joint(made, layout, one, other, point, direction)
        _add_ends(made, chain, path, at)
    for element in layout.elements.values():
        if element.plain:
            along = pieces[element.name]
            middle, _ = along.at(along.length / 2)
            ways = (DrawnWay(("left", "right"), (), (along,)),)
            made.elements[element.name] = DrawnElement(element.name, ways, middle, along)
    for node in net.nodes:
        if node.shape not in ("end", "turn"):
            made.elements[node.name] = _fitting(layout, node, legs)
    made.elements = {name: made.elements[name] for name in layout.elements}
    for signal in layout.signals.values():
        point, direction = where[signal.before]
        made.signals[signal.name] = DrawnSignal(signal.name, point, direction, hand == "left")
    made.bridges, without = bridges(made, layout.shown.bridges, _lines_of(traced, legs))
    made.no_bridges = tuple(without)
    made.elements = {name: made.elements[name] for name in drawn_order(made)}
    return made


def _lines_of(traced: Traced, legs: dict[Leg, Path]) -> dict[str, list[Stretch]]:
    """What each element has of each line, and the names that stand for that line."""
    found: dict[str, list[Stretch]] = {}
    for trace_ in traced.traces:
        chain = trace_.chain
        names = {entered.element for entered in chain.pieces}
        names |= {end.name for end in (chain.first, chain.last) if isinstance(end, Edge)}
        for entered in chain.pieces:
            found.setdefault(entered.element, []).append(Stretch(frozenset(names), None))
        for end in (chain.first, chain.last):
            if isinstance(end, Leg) and end in legs:
                own = Stretch(frozenset(names | {end.element}), legs[end])
                found.setdefault(end.element, []).append(own)
    return found


def _add_joint(
    made: Plan, layout: Layout, one: object, other: object, point: Point, direction: Point
) -> None:
    if isinstance(one, Stop) or isinstance(other, Stop):
        return
    assert isinstance(one, Leg | Edge) and isinstance(other, Leg | Edge)
    sections = [layout.section_of[end.element] for end in (one, other) if isinstance(end, Leg)]
    ends = len(set(sections)) == 2 or len(sections) == 1
    made.joints.append(DrawnJoint(one, other, point, direction, ends))


def _add_ends(made: Plan, chain: Chain, path: Path, at: list[float]) -> None:
    point, direction = path.at(0)
    first, last = chain.first, chain.last
    if not isinstance(first, Leg):
        lead = path.part(0, at[0]) if isinstance(first, Edge) else None
        made.ends.append(DrawnEnd(first, point, Point(-direction.x, -direction.y), lead))
    if not isinstance(last, Leg):
        point, direction = path.at(path.length)
        lead = path.part(at[-1], path.length) if isinstance(last, Edge) else None
        made.ends.append(DrawnEnd(last, point, direction, lead))


# ------------------------------------------------------------------- fittings


def _fitting(layout: Layout, node: Node, legs: dict[Leg, Path]) -> DrawnElement:
    element = layout.elements[node.name]
    starts = {leg: path.segments[0].start for leg, path in legs.items() if leg.element == node.name}
    middle = Point(
        sum(p.x for p in starts.values()) / len(starts),
        sum(p.y for p in starts.values()) / len(starts),
    )
    ways = tuple(_way(layout, node, way, legs) for way in element.kind.ways)
    frame = None
    if node.table == "turntable":
        frame = (
            Point(middle.x - TURNTABLE, middle.y - TURNTABLE),
            Point(middle.x + TURNTABLE, middle.y + TURNTABLE),
        )
    elif node.shape == "box":
        ys = [p.y for p in starts.values()]
        frame = (
            Point(middle.x - (TABLE if node.left else 8), min(ys) - 8),
            Point(middle.x + (TABLE if node.right else 8), max(ys) + 8),
        )
    drives = tuple(_drive_marks(layout, node, legs, middle))
    return DrawnElement(node.name, ways, middle, None, drives, frame, node.table)


def _way(layout: Layout, node: Node, way: KindWay, legs: dict[Leg, Path]) -> DrawnWay:
    one, other = (legs[Leg(node.name, leg)] for leg in way.legs)
    when = tuple(
        (layout.drive_of[Work(node.name, drive)], position) for drive, position in way.when
    )
    a, b = one.segments[0].start, other.segments[0].start
    if node.shape == "cross" and not _crosses(node, way):
        cut = [min(SLIP_CURVE, path.length * 0.8) for path in (one, other)]
        parts = (one.part(cut[0], one.length).back(), other.part(cut[1], other.length))
        return DrawnWay(way.legs, when, parts, a)
    if node.shape == "box" and node.table is None:
        parts = (one.part(TABLE, one.length).back(), other.part(TABLE, other.length))
        ends = parts[0].segments[-1].end, parts[1].segments[0].start
        if ends[0].x == ends[1].x:  # both on one side: round by the middle
            return DrawnWay(way.legs, when, parts, Point(a.x, (a.y + b.y) / 2))
        return DrawnWay(way.legs, when, (parts[0] + Path((Segment(*ends),)) + parts[1],))
    between = Path((Segment(a, b),)) if hypot(a.x - b.x, a.y - b.y) > 1e-6 else Path(())
    return DrawnWay(way.legs, when, (one.back() + between + other,))


def _crosses(node: Node, way: KindWay) -> bool:
    places = []
    for name in way.legs:
        leg = Leg(node.name, name)
        places.append((node.left if leg in node.left else node.right).index(leg))
    return places[0] != places[1]


def _drive_marks(
    layout: Layout, node: Node, legs: dict[Leg, Path], middle: Point
) -> Iterator[tuple[str, Point]]:
    """Where the drives of a slip are marked: between the legs at its ends.

    A lone drive is marked at end 1 alone, the end of the kind's first leg; of two, each
    at its own end: the one that chooses among the legs of end 2 stands at end 1.
    """
    kind = layout.elements[node.name].kind
    if node.shape != "cross" or not kind.drives:
        return
    first = Leg(node.name, kind.ways[0].legs[0])
    own: Hand = "left" if first in node.left else "right"
    hands: list[Hand] = [own, "right" if own == "left" else "left"]
    for drive, hand in zip(kind.drives, hands, strict=False):
        own_legs = [legs[leg] for leg in node.on(hand) if leg is not None]
        point = _free(_wedge(middle, own_legs), list(legs.values()))
        yield str(Work(node.name, drive)), point


def _free(point: Point, paths: list[Path]) -> Point:
    """The place for a mark, or the nearest beside it that no track runs through."""
    near = [
        chord
        for path in paths
        for chord in path.chords()
        if around(chord).grown(40).meets(Box(point.x, point.y, point.x, point.y).grown(1))
    ]
    places = [point]
    for far in (6.0, 12.0, 18.0, 24.0):
        for x, y in ((0, 1), (0, -1), (1, 0), (-1, 0), (1, 1), (-1, 1), (1, -1), (-1, -1)):
            places.append(Point(point.x + x * far, point.y + y * far))
    for place in places:
        room = Box(place.x, place.y, place.x, place.y).grown(6.0)
        if not any(room.cut_by(a, b) for a, b in near):
            return place
    return point


def _wedge(middle: Point, paths: list[Path]) -> Point:
    """A place between two legs that leave a point."""
    x = y = 0.0
    for path in paths:
        start, end = path.segments[0].start, path.segments[0].end
        size = hypot(end.x - start.x, end.y - start.y)
        x, y = x + (end.x - start.x) / size, y + (end.y - start.y) / size
    size = hypot(x, y) or 1.0
    # Narrow wedges are entered further out.
    far = 16.0 if size > 1.6 else 15.0
    return Point(middle.x + x / size * (far + 6 * max(0.0, size - 1.4)), middle.y + y / size * far)
