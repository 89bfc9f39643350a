"""What lies in line: which road of a crossing is level, which points are a ladder, and the
straight lines that follow of it.

Straight to straight is one row: through points by the straight legs, through slips and
diamonds by one of their roads. Of two roads that cross, the level one is that which goes on
straight to more ends that are not diverging legs, then the longer, then the earlier in the
text; a crossing between four diverging legs (scissors) has no level road. A ladder is the
exception: its points lie on one slant, and its roads are level.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Set
from dataclasses import dataclass, field

from networkx.utils import UnionFind

from bellcrank.layout.layout_model import Edge, Hand, Layout, Leg
from bellcrank.picture.network import OTHER, Line, Network, Node, Port

LADDER = 5
"""Points in a row, by their straight legs, from which on they are drawn as a ladder."""


@dataclass(slots=True)
class Straights:
    """The straight lines of a network: maximal runs of what lies in line.

    of_line, of_node: the number of the straight line that a line, or a node, lies on. Boxes
    and crossings without a level road lie on one of their own, U-turns on none.
    """

    count: int = 0
    of_line: list[int] = field(default_factory=list)
    of_node: dict[int, int] = field(default_factory=dict)


def choose_level_legs(net: Network, layout: Layout) -> None:
    """Say which legs of crossings are level, and let the points of ladders slant."""
    signals = {signal.before for signal in layout.signals.values()}
    at = lines_at(net)
    for ladder in _ladders(net, at, signals):
        for node in ladder:
            node.level = frozenset(
                leg
                for hand in _hands()
                for leg in node.on(hand)
                if leg is not None and ((leg in node.level) == (len(node.on(hand)) == 1))
            )
    for node in net.nodes:
        if node.shape == "cross":
            node.level = _level_road(net, node, at)
    for node in net.nodes:
        _let_slant_on(net, node, at)


def lines_at(net: Network) -> dict[Port, Line]:
    """The line at each leg."""
    return {port: line for line in net.lines for port in (line.start, line.end)}


def straights(net: Network) -> Straights:
    """The straight lines, numbered in the order of the text."""
    joined = UnionFind([("line", line.number) for line in net.lines])
    for line in net.lines:
        for port, slants in zip((line.start, line.end), line.slants, strict=True):
            node = net.nodes[port.node]
            level = node.shape in ("fan", "cross") and not slants
            if node.shape == "end" or level:
                joined.union(("line", line.number), ("node", node.number))
    made = Straights()
    numbers: dict[tuple[str, int], int] = {}
    for line in net.lines:
        number = numbers.setdefault(joined[("line", line.number)], len(numbers))
        made.of_line.append(number)
    for node in net.nodes:
        if node.shape != "turn":
            made.of_node[node.number] = numbers.setdefault(
                joined[("node", node.number)], len(numbers)
            )
    made.count = len(numbers)
    return made


def _hands() -> tuple[Hand, Hand]:
    return "left", "right"


# --------------------------------------------------------------------- ladders


def _ladders(net: Network, at: dict[Port, Line], signals: Set[Leg | Edge]) -> Iterator[list[Node]]:
    """Points in a row that are drawn as a ladder."""
    onward: dict[int, int] = {}
    for line in net.lines:
        if not line.bare:
            continue
        legs = [net.nodes[p.node].on(p.hand)[p.place] for p in (line.start, line.end)]
        for (port, leg), (far, _) in itertools.permutations(
            zip((line.start, line.end), legs, strict=True)
        ):
            one, other = net.nodes[port.node], net.nodes[far.node]
            if (
                _is_points(one, port.hand)
                and _is_points(other, OTHER[far.hand])
                and leg in one.level
                and not signals & set(legs)
            ):
                onward[one.number] = other.number
    entered = set(onward.values())
    runs = []
    for number in onward:
        if number in entered:
            continue
        run = [number]
        while run[-1] in onward:
            run.append(onward[run[-1]])
        if len(run) >= LADDER:
            runs.append([net.nodes[n] for n in run])
    within = {node.number for nodes in runs for node in nodes}
    for nodes in runs:
        if not _leads_out(net, nodes, at, within):
            yield nodes


def _is_points(node: Node, spread: Hand) -> bool:
    """Whether a node is points whose two legs lie on one side."""
    return node.shape == "fan" and len(node.on(spread)) == 2 and len(node.on(OTHER[spread])) == 1


def _leads_out(net: Network, run: list[Node], at: dict[Port, Line], within: set[int]) -> bool:
    """Whether the straight legs lead on to an edge or a U-turn: then it is a main line."""
    last = run[-1]
    hand: Hand = "right" if len(last.right) == 2 else "left"
    place = next(k for k, leg in enumerate(last.on(hand)) if leg in last.level)
    for port in _along(net, at, Port(last.number, hand, place)):
        node = net.nodes[port.node]
        if node.number in within:
            return False
        if node.shape == "turn" or (node.shape == "end" and node.name):
            return True
    return False


def _along(net: Network, at: dict[Port, Line], port: Port) -> Iterator[Port]:
    """The legs at which a straight line arrives, from a leg that it leaves by."""
    seen = set()
    while port not in seen:
        seen.add(port)
        line = at[port]
        far = line.end if port == line.start else line.start
        yield far
        node = net.nodes[far.node]
        if node.shape == "cross":
            port = Port(far.node, OTHER[far.hand], 1 - far.place)
        elif node.shape == "fan" and node.on(far.hand)[far.place] in node.level:
            hand = OTHER[far.hand]
            place = next(k for k, leg in enumerate(node.on(hand)) if leg in node.level)
            port = Port(far.node, hand, place)
        else:
            return


# ------------------------------------------------------------ slants that lead on


def _let_slant_on(net: Network, node: Node, at: dict[Port, Line]) -> None:
    """Where track leads from a slant directly to the straight leg of points, that slant leads on
    into the points and the other leg is level: else this would come round a corner, from the side
    that is left."""
    for hand in _hands():
        if not _is_points(node, hand):
            continue
        straight = 0 if node.on(hand)[0] in node.level else 1
        port = Port(node.number, hand, straight)
        line = at[port]
        far = line.end if port == line.start else line.start
        if line.bare and _slants_away(net.nodes[far.node], far):
            legs = (node.on(OTHER[hand])[0], node.on(hand)[1 - straight])
            node.level = frozenset(leg for leg in legs if leg is not None)


def _slants_away(node: Node, port: Port) -> bool:
    """Whether track leaves a leg of a fitting on a slant."""
    return node.shape in ("fan", "cross") and node.on(port.hand)[port.place] not in node.level


# ------------------------------------------------------------------- crossings


def _level_road(net: Network, node: Node, at: dict[Port, Line]) -> frozenset[Leg]:
    """The legs of the road through a crossing that is level; none between four slants."""
    roads = [
        (Port(node.number, "left", place), Port(node.number, "right", 1 - place))
        for place in (0, 1)
    ]
    slanting = 0
    scores = []
    for road in roads:
        ends, length = 0, 0
        for port in road:
            arrived = list(_along(net, at, port))
            length += len(arrived)
            slanting += at[port].bare and not _arrives_level(net, arrived[0])
            ends += _arrives_level(net, arrived[-1])
        first = min(at[port].number for port in road)
        scores.append((-ends, -length, first))
    if slanting == 4:
        return frozenset()
    road = roads[scores.index(min(scores))]
    legs = (node.on(port.hand)[port.place] for port in road)
    return frozenset(leg for leg in legs if leg is not None)


def _arrives_level(net: Network, port: Port) -> bool:
    node = net.nodes[port.node]
    return node.shape != "fan" or node.on(port.hand)[port.place] in node.level
