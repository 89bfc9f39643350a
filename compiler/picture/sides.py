"""The nodes of a picture, and the lines that join them.

Each fitting has its legs on the sides that `hands.py` finds; points whose toe lies on one side with
a leg are the apex of a wye. A line that leaves two fittings on
their right (a turning loop), or that leads back to the left (an oval), gets U-turns.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from bellcrank.layout.layout_model import Edge, FittingKind, Hand, Layout, Leg, TrackEnd
from bellcrank.picture.chains import chains
from bellcrank.picture.feedback import feedback_arcs
from bellcrank.picture.hands import hands
from bellcrank.picture.measures import EDGE_MARK, text_width
from bellcrank.picture.network import OTHER, Chain, Line, Network, Node, Port
from bellcrank.picture.straight import choose_level_legs

MANY = 4
"""Roads to which a fitting leads that is drawn as a frame."""


def network(layout: Layout) -> Network:
    """The nodes of a layout, and the lines and chains between them."""
    sides = hands(layout)
    nodes: list[Node] = []
    at: dict[TrackEnd, tuple[int, Hand]] = {}
    for element in layout.elements.values():
        if not element.plain:
            node = _fitting(len(nodes), element.name, element.kind, sides)
            nodes.append(node)
            at.update({leg: (node.number, "left") for leg in node.left if leg})
            at.update({leg: (node.number, "right") for leg in node.right if leg})
    net = Network(nodes, [], chains(layout), layout.above)
    for chain in net.chains:
        _add_ends(chain, layout, net, at)
    _set_reach(net)
    for chain, back in _turned_back(net, at):
        _add_lines(chain, back, net, at)
    choose_level_legs(net, layout)
    for line in net.lines:
        line.slants = (_slants(net, line.start), _slants(net, line.end))
    return net


def _fitting(number: int, name: str, kind: FittingKind, sides: Mapping[Leg, Hand]) -> Node:
    legs = [Leg(name, leg) for leg in kind.legs]
    left = [leg for leg in legs if sides[leg] == "left"]
    right = [leg for leg in legs if sides[leg] == "right"]
    if left and right:
        # Round the fitting with the sun: along the right side down, along the left side up.
        breaks = [i for i, leg in enumerate(legs) if leg in right and legs[i - 1] in left]
        turned = legs[breaks[0] :] + legs[: breaks[0]]
        if len(breaks) == 1:
            right = [leg for leg in turned if leg in right]
            left = [leg for leg in reversed(turned) if leg in left]
    node = Node(number, "box", name, list(left), list(right), table=kind.drawn)
    if min(len(left), len(right)) == 1 and all(_joins(kind, name, left, right)):
        # What leads to many roads is a turntable, a traverser or the like: a frame with its ways.
        node.shape = "fan" if len(kind.ways) < MANY and not kind.drawn else "box"
        node.level = _level_legs(kind, name)
    elif apart := _toe_beside(kind, name, left, right):
        node.shape, node.level = "apex", frozenset((apart,))
    elif len(left) == len(right) == 2 and kind.ways and not kind.drawn:
        ways = [{Leg(name, leg) for leg in way.legs} for way in kind.ways]
        if ways[0] in ({left[0], right[1]}, {left[1], right[0]}) and all(
            crossing in ways for crossing in ({left[0], right[1]}, {left[1], right[0]})
        ):
            node.shape = "cross"
    return node


def _joins(
    kind: FittingKind, name: str, left: Sequence[Leg], right: Sequence[Leg]
) -> Iterator[bool]:
    for way in kind.ways:
        yield len({Leg(name, leg) for leg in way.legs} & set(left)) == 1


def _toe_beside(
    kind: FittingKind, name: str, left: Sequence[Leg], right: Sequence[Leg]
) -> Leg | None:
    """The toe of points that lies on one side with one of the legs that it leads to."""
    if len(kind.ways) != 2 or kind.drawn or {len(left), len(right)} != {1, 2}:
        return None
    shared = set(kind.ways[0].legs) & set(kind.ways[1].legs)
    toes = [Leg(name, leg) for leg in shared]
    return toes[0] if len(toes) == 1 and toes[0] in (left if len(left) == 2 else right) else None


def _level_legs(kind: FittingKind, name: str) -> frozenset[Leg]:
    """Of legs that spread from one point: the two that are drawn in line."""
    straight = kind.ways[0]
    for way in reversed(kind.ways):
        if all(kind.drives[drive][0] == position for drive, position in way.when):
            straight = way
    if len(kind.ways) > 2:
        straight = kind.ways[len(kind.ways) // 2]
    return frozenset(Leg(name, leg) for leg in straight.legs)


def _add_ends(
    chain: Chain, layout: Layout, net: Network, at: dict[TrackEnd, tuple[int, Hand]]
) -> None:
    """Nodes for the ends of track of a chain, on the side that needs no U-turn."""
    first, last = chain.first, chain.last
    for end, far, natural in ((first, last, "right"), (last, first, "left")):
        if isinstance(end, Leg):
            continue
        hand: Hand = "right" if natural == "right" else "left"
        if far in at:
            hand = OTHER[at[far][1]]
        node = Node(len(net.nodes), "end", end.name if isinstance(end, Edge) else "")
        node.on(hand).append(None)
        net.nodes.append(node)
        at[end] = (node.number, hand)


def _set_reach(net: Network) -> None:
    """Keep room for the names of edges: on either side for the longest."""
    for hand in ("left", "right"):
        edges = [n for n in net.nodes if n.shape == "end" and n.name and n.hand == hand]
        longest = max((text_width(edge.name) for edge in edges), default=0.0)
        for edge in edges:
            edge.reach = longest + EDGE_MARK + 4


def _turned_back(net: Network, at: dict[TrackEnd, tuple[int, Hand]]) -> list[tuple[Chain, bool]]:
    """Each chain, and whether it closes a ring of those that lead rightwards."""
    arcs: list[tuple[int, int]] = []
    of: list[int] = []
    for index, chain in enumerate(net.chains):
        if chain.first not in at or chain.last not in at:
            continue
        (a, side_a), (b, side_b) = at[chain.first], at[chain.last]
        if side_a != side_b:
            arcs.append((b, a) if side_a == "left" else (a, b))
            of.append(index)
    back = {of[k] for k in feedback_arcs([node.number for node in net.nodes], arcs)}
    return [(chain, index in back) for index, chain in enumerate(net.chains)]


def _add_lines(
    chain: Chain, back: bool, net: Network, at: dict[TrackEnd, tuple[int, Hand]]
) -> None:
    """The lines of a chain, with the U-turns it needs."""
    if chain.first not in at or chain.last not in at:
        left, right = _turn(net, "right"), _turn(net, "left")
        chain.parts = [
            (_line(net, Port(left, "right", 0), Port(right, "left", 0), chain), True),
            (_line(net, Port(left, "right", 1), Port(right, "left", 1), chain), False),
        ]
        return
    a, b = _port(net, chain.first, at), _port(net, chain.last, at)
    if a.hand != b.hand and not back:
        onward = a.hand == "right"
        chain.parts = [(_line(net, *((a, b) if onward else (b, a)), chain), onward)]
    elif a.hand == b.hand == "right":
        turn = _turn(net, "left")
        chain.parts = [
            (_line(net, a, Port(turn, "left", 0), chain), True),
            (_line(net, b, Port(turn, "left", 1), chain), False),
        ]
    elif a.hand == b.hand:
        turn = _turn(net, "right")
        chain.parts = [
            (_line(net, Port(turn, "right", 0), a, chain), False),
            (_line(net, Port(turn, "right", 1), b, chain), True),
        ]
    else:
        onward = a.hand == "right"
        start, end = (a, b) if onward else (b, a)
        right, left = _turn(net, "left"), _turn(net, "right")
        parts = [
            (_line(net, start, Port(right, "left", 0), chain), True),
            (_line(net, Port(left, "right", 0), Port(right, "left", 1), chain), False),
            (_line(net, Port(left, "right", 1), end, chain), True),
        ]
        chain.parts = parts if onward else [(line, not way) for line, way in reversed(parts)]


def _port(net: Network, end: TrackEnd, at: dict[TrackEnd, tuple[int, Hand]]) -> Port:
    number, hand = at[end]
    legs = net.nodes[number].on(hand)
    return Port(number, hand, legs.index(end) if isinstance(end, Leg) else 0)


def _turn(net: Network, hand: Hand) -> int:
    node = Node(len(net.nodes), "turn", "")
    node.on(hand).extend([None, None])
    net.nodes.append(node)
    return node.number


def _line(net: Network, start: Port, end: Port, chain: Chain) -> Line:
    line = Line(
        len(net.lines),
        start,
        end,
        (False, False),
        not chain.pieces and isinstance(chain.first, Leg) and isinstance(chain.last, Leg),
    )
    net.lines.append(line)
    return line


def _slants(net: Network, port: Port) -> bool:
    node = net.nodes[port.node]
    return (
        node.shape in ("fan", "apex", "cross") and node.on(port.hand)[port.place] not in node.level
    )
