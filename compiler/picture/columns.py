"""How far to the right each node lies: columns of one grid unit.

Objective: the shortest sum of all lines, each at least as long as what stands along it
needs, those between two fittings that touch counting most. This is the layer assignment
of layered drawing as a linear programme of differences (Gansner, Koutsofios, North, Vo,
"A technique for drawing directed graphs", IEEE Transactions on Software Engineering
19(3), 1993, section 2); its matrix is totally unimodular, so its solution is whole columns.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_array

from bellcrank.layout.layout_model import Edge, Layout, Leg, Stop, TrackEnd
from bellcrank.picture.measures import (
    PIECE,
    SIGNAL_ROOM,
    STUB,
    UNIT,
    text_width,
)
from bellcrank.picture.network import Chain, Line, Network
from bellcrank.picture.platforms import length_of

LEFTWARDS = 1e-4
"""What a column further right costs by itself, so that there is one best solution."""


def set_needs(net: Network, layout: Layout) -> None:
    """Say how long each line must be at least."""
    signals: dict[TrackEnd, int] = {}
    for signal in layout.signals.values():
        signals[signal.before] = signals.get(signal.before, 0) + 1
    tight = {number: UNIT for group in scissors(net) for number in group.legs}
    tight |= {number: 2 * UNIT for group in scissors(net) for number in group.mains}
    beside: dict[str, float] = {}
    for platform in layout.shown.platforms:
        for name in platform.pieces:
            beside[name] = max(beside.get(name, 0.0), length_of(platform))
    pairs = Counter((line.start.node, line.end.node) for line in net.lines)
    for chain in net.chains:
        ends = [_end_need(chain.first, signals), _end_need(chain.last, signals)]
        middle = sum(
            _piece_need(leg, signals, beside.get(leg.element, 0.0)) for leg in chain.pieces
        )
        lines = [line for line, _ in chain.parts]
        for line in lines:
            line.need = _turns_off(net, line)
        if len(lines) == 1 and lines[0].bare:
            pair = (lines[0].start.node, lines[0].end.node)
            touching = 4 * UNIT if pairs[pair] > 1 else _touching(net, lines[0])
            touching = tight.get(lines[0].number, touching)
            lines[0].need = max(touching, _touching_signals(chain, signals, lines))
            continue
        if len(lines) == 3:
            lines[0].need += ends[0] + UNIT
            lines[1].need += middle
            lines[2].need += ends[1] + UNIT
        elif len(lines) == 2:
            lines[0].need += ends[0] + middle / 2
            lines[1].need += ends[1] + middle / 2
        else:
            lines[0].need += sum(ends) + middle


def _end_need(end: TrackEnd, signals: dict[TrackEnd, int]) -> float:
    room = SIGNAL_ROOM * signals.get(end, 0)
    if isinstance(end, Leg):
        return STUB + room
    if isinstance(end, Stop):
        return 6.0
    return 8.0 + room if isinstance(end, Edge) else 0.0


def _piece_need(entered: Leg, signals: dict[TrackEnd, int], beside: float) -> float:
    """beside: the length of a platform there."""
    count = sum(signals.get(Leg(entered.element, leg), 0) for leg in ("left", "right"))
    return max(PIECE, text_width(entered.element) + 12, beside) + SIGNAL_ROOM * count


def _turns_off(net: Network, line: Line) -> float:
    """Length along which a line is not level: a slant at each diverging leg."""
    length = 0.0
    for port, slants in zip((line.start, line.end), line.slants, strict=True):
        node = net.nodes[port.node]
        frame = (1 + node.spread(port.hand)) * UNIT
        beside = {"box": frame, "turn": UNIT, "apex": UNIT}.get(node.shape, node.reach)
        if slants:
            beside = UNIT if node.shape == "cross" and not node.level else 2 * UNIT
        length += beside
    return length


def _touching(net: Network, line: Line) -> float:
    """The least length of a line without pieces, by what it joins and their names."""
    one, other = net.nodes[line.start.node], net.nodes[line.end.node]
    shapes = {one.shape, other.shape}
    if any(line.slants):
        return 2 * UNIT
    frames = [node.spread(p.hand) for p, node in ((line.start, one), (line.end, other))
              if node.shape == "box"]  # fmt: skip
    least = (sum(frames) + 3) * UNIT if frames else 3 * UNIT if "cross" in shapes else 2 * UNIT
    return max(least, (text_width(one.name) + text_width(other.name)) / 2 + 10)


@dataclass(frozen=True, slots=True)
class Scissors:
    """Scissors crossovers: the lines by their numbers.

    legs: the four that lead to the crossing. mains: the level lines on either side.
    """

    legs: tuple[int, ...]
    mains: tuple[int, int]


def scissors(net: Network) -> list[Scissors]:
    """All scissors crossovers.

    Two level lines with points on either side of a crossing whose legs all lead to the
    diverging legs of these: then the crossing lies just between the two lines.
    """
    level: dict[tuple[int, int], int] = {}
    slanting: dict[tuple[int, str], list[Line]] = {}
    for line in net.lines:
        one, other = line.start.node, line.end.node
        if not line.bare:
            continue
        if net.nodes[one].shape == net.nodes[other].shape == "fan" and not any(line.slants):
            level[one, other] = line.number
        if net.nodes[other].shape == "cross" and line.slants[0]:
            slanting.setdefault((other, "left"), []).append(line)
        if net.nodes[one].shape == "cross" and line.slants[1]:
            slanting.setdefault((one, "right"), []).append(line)
    found = []
    for node in net.nodes:
        left = slanting.get((node.number, "left"), [])
        right = slanting.get((node.number, "right"), [])
        if len(left) != 2 or len(right) != 2:
            continue
        mains = [level[a.start.node, b.end.node] for a in left for b in right
                 if (a.start.node, b.end.node) in level]  # fmt: skip
        if len(mains) == 2:
            legs = tuple(line.number for line in (*left, *right))
            found.append(Scissors(legs, (mains[0], mains[1])))
    return found


def _touching_signals(chain: Chain, signals: dict[TrackEnd, int], lines: list[Line]) -> float:
    count = signals.get(chain.first, 0) + signals.get(chain.last, 0)
    if not count:
        return 0.0
    return STUB * 2 + SIGNAL_ROOM * count + 2 * UNIT * sum(lines[0].slants)


Before = tuple[int, int]
"""Two nodes of which the first lies left of the other."""


def columns(net: Network, also: Sequence[Before] = ()) -> list[int]:
    """The column of each node, the leftmost of each connected part at 0.

    also: what must lie left of what besides. Raises ArithmeticError if that cannot be.
    """
    count, lines = len(net.nodes), net.lines
    if not lines:
        return [0] * count
    cost = np.full(count, LEFTWARDS)
    for line in lines:
        weight = 1.0 if not line.bare else 40.0 if any(line.slants) else 10.0
        cost[line.end.node] += weight
        cost[line.start.node] -= weight
    pairs = [(line.start.node, line.end.node) for line in lines] + list(also)
    rows = np.repeat(np.arange(len(pairs)), 2)
    nodes = np.array([node for pair in pairs for node in pair])
    signs = np.tile([1.0, -1.0], len(pairs))
    matrix = csr_array((signs, (rows, nodes)), shape=(len(pairs), count))
    least = [-float(max(1, ceil(line.need / UNIT - 1e-6))) for line in lines]
    least += [-1.0] * len(also)
    solved = linprog(cost, A_ub=matrix, b_ub=least, bounds=(0, None), method="highs-ds")
    if solved.x is None:
        raise ArithmeticError(f"no columns: {solved.message}")
    return [round(x) for x in solved.x]
