"""Which side of its fitting each leg lies on, and the lines that join the fittings.

Runs read from left to right: where one arrives at a leg, that leg lies on the left of
its fitting. Legs that a way joins lie on opposite sides, so each set of legs joined by
ways is turned as most of its readings want it, and then turned over while that saves a
line that would have to come back. A line that leaves two fittings on their right (a
turning loop), or that leads back to the left (an oval), gets U-turns; each way round a
ring is cut where it appears first in the text.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from bellcrank.layout.layout_model import Edge, FittingKind, Hand, Layout, Leg, TrackEnd
from bellcrank.picture.chains import chains
from bellcrank.picture.network import OTHER, Chain, Line, Network, Node, Port, across
from bellcrank.picture.straight import choose_level_legs

MANY = 4
"""Roads to which a fitting leads that is drawn as a frame."""


def network(layout: Layout) -> Network:
    """The nodes of a layout, and the lines and chains between them."""
    hands = _hands(layout)
    nodes: list[Node] = []
    at: dict[TrackEnd, tuple[int, Hand]] = {}
    for element in layout.elements.values():
        if not element.plain:
            node = _fitting(len(nodes), element.name, element.kind, hands)
            nodes.append(node)
            at.update({leg: (node.number, "left") for leg in node.left if leg})
            at.update({leg: (node.number, "right") for leg in node.right if leg})
    net = Network(nodes, [], chains(layout), layout.above)
    for chain in net.chains:
        _add_ends(chain, layout, net, at)
    for chain, back in _turned_back(net, at):
        _add_lines(chain, back, net, at)
    choose_level_legs(net, layout)
    for line in net.lines:
        line.slants = (_slants(net, line.start), _slants(net, line.end))
    return net


# ----------------------------------------------------------------------- sides


def _hands(layout: Layout) -> dict[Leg, Hand]:
    """The side on which each leg of a fitting is drawn."""
    colour: dict[Leg, int] = {}
    group: dict[Leg, int] = {}
    groups: list[list[Leg]] = []
    for element in layout.elements.values():
        if element.plain:
            continue
        beside: dict[str, list[str]] = {leg: [] for leg in element.kind.legs}
        for way in element.kind.ways:
            one, other = way.legs
            beside[one].append(other)
            beside[other].append(one)
        for name in element.kind.legs:
            if Leg(element.name, name) not in colour:
                groups.append(_colour(element.name, name, beside, colour))
                group.update(dict.fromkeys(groups[-1], len(groups) - 1))
    turned = [
        sum(1 if _left(layout, leg) == (colour[leg] == 0) else -1 for leg in legs) < 0
        for legs in groups
    ]
    _save_turns(layout, colour, group, groups, turned)
    return {leg: "left" if (colour[leg] == 0) != turned[group[leg]] else "right" for leg in colour}


def _left(layout: Layout, leg: Leg) -> bool:
    return layout.reads.get(leg, "left") == "left"


def _colour(
    element: str, start: str, beside: dict[str, list[str]], colour: dict[Leg, int]
) -> list[Leg]:
    """Give the legs that ways join to one leg two colours by turns."""
    legs = [Leg(element, start)]
    colour[legs[0]] = 0
    for leg in legs:
        for name in beside[leg.leg]:
            other = Leg(element, name)
            if other not in colour:
                colour[other] = 1 - colour[leg]
                legs.append(other)
    return legs


def _save_turns(
    layout: Layout,
    colour: dict[Leg, int],
    group: dict[Leg, int],
    groups: list[list[Leg]],
    turned: list[bool],
) -> None:
    """Turn groups over while fewer lines need a U-turn for it."""
    beyond = {leg: _far_end(layout, leg) for leg in colour}
    improved = True
    rounds = 0
    while improved and rounds < 10:
        improved, rounds = False, rounds + 1
        for number, legs in enumerate(groups):
            gain = 0
            for leg in legs:
                far = beyond[leg]
                if not isinstance(far, Leg) or group[far] == number:
                    continue
                same = (colour[leg] != turned[number]) == (colour[far] != turned[group[far]])
                gain += 1 if same else -1
            if gain > 0:
                turned[number] = not turned[number]
                improved = True


def _far_end(layout: Layout, leg: Leg) -> TrackEnd:
    """What a leg leads to beyond all plain pieces."""
    end = layout.joined[leg]
    while isinstance(end, Leg) and layout.elements[end.element].plain:
        end = layout.joined[across(end)]
    return end


def _fitting(number: int, name: str, kind: FittingKind, hands: Mapping[Leg, Hand]) -> Node:
    legs = [Leg(name, leg) for leg in kind.legs]
    left = [leg for leg in legs if hands[leg] == "left"]
    right = [leg for leg in legs if hands[leg] == "right"]
    if left and right:
        # Round the fitting with the sun: along the right side down, along the left side up.
        breaks = [i for i, leg in enumerate(legs) if leg in right and legs[i - 1] in left]
        turned = legs[breaks[0] :] + legs[: breaks[0]]
        if len(breaks) == 1:
            right = [leg for leg in turned if leg in right]
            left = [leg for leg in reversed(turned) if leg in left]
    node = Node(number, "box", name, list(left), list(right))
    if min(len(left), len(right)) == 1 and all(_joins(kind, name, left, right)):
        # What leads to many roads is a turntable, a traverser or the like: a frame with its ways.
        node.shape = "fan" if len(kind.ways) < MANY else "box"
        node.level = _level_legs(kind, name)
    elif len(left) == len(right) == 2 and kind.ways:
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


def _turned_back(net: Network, at: dict[TrackEnd, tuple[int, Hand]]) -> list[tuple[Chain, bool]]:
    """Each chain, and whether it closes a ring of those that lead rightwards."""
    onward: dict[int, list[tuple[int, int]]] = {node.number: [] for node in net.nodes}
    entered: set[int] = set()
    for index, chain in enumerate(net.chains):
        if chain.first not in at or chain.last not in at:
            continue
        (a, side_a), (b, side_b) = at[chain.first], at[chain.last]
        if side_a == side_b:
            continue
        if side_a == "left":
            a, b = b, a
        onward[a].append((b, index))
        entered.add(b)
    back: set[int] = set()
    state: dict[int, int] = {}
    roots = [n.number for n in net.nodes if n.number not in entered]
    for root in [*roots, *(n.number for n in net.nodes)]:
        if root in state:
            continue
        state[root] = 1
        stack = [(root, iter(onward[root]))]
        while stack:
            number, rest = stack[-1]
            step = next(rest, None)
            if step is None:
                state[number] = 2
                stack.pop()
                continue
            to, index = step
            if state.get(to) == 1:
                back.add(index)
            elif to not in state:
                state[to] = 1
                stack.append((to, iter(onward[to])))
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
    return node.shape in ("fan", "cross") and node.on(port.hand)[port.place] not in node.level
