"""What is counted in a picture that was read back: crossings, bends, what is not level.

Nothing of the drawing is used. A bend is a place at which drawn track changes its direction,
other than the middle of a fitting; arcs are not bends. A crossing is a place at which the
track of two elements crosses, or of one far from its middle.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from math import atan2, hypot, pi

from picture.read_back import Dot, Drawn

from bellcrank.layout.layout_model import Element, Layout, Leg

NEAR = 25.0
"""How far from the middle of a fitting its own roads may cross or turn, in pixels."""


def cross(a: Dot, b: Dot, c: Dot, d: Dot) -> Dot | None:
    """Where two segments cross inside both, by Cramer's rule."""
    u, v = (b[0] - a[0], b[1] - a[1]), (d[0] - c[0], d[1] - c[1])
    turn = u[0] * v[1] - u[1] * v[0]
    if abs(turn) < 1e-6:
        return None
    w = (c[0] - a[0], c[1] - a[1])
    s, t = (w[0] * v[1] - w[1] * v[0]) / turn, (w[0] * u[1] - w[1] * u[0]) / turn
    if not (0.001 < s < 0.999 and 0.001 < t < 0.999):
        return None
    return a[0] + s * u[0], a[1] + s * u[1]


def crossings(picture: Drawn) -> list[Dot]:
    """Where lines cross that no fitting joins."""
    pieces = [
        (name, a, b)
        for name, ways in picture.elements.items()
        for _, _, _, line in ways
        for a, b in itertools.pairwise(line)
    ]
    found: list[Dot] = []
    for (one, a, b), (other, c, d) in itertools.combinations(pieces, 2):
        if max(a[0], b[0]) < min(c[0], d[0]) or max(c[0], d[0]) < min(a[0], b[0]):
            continue
        meets = cross(a, b, c, d)
        if meets is None or (one == other and near_middle(picture, one, meets)):
            continue
        if all(hypot(meets[0] - x, meets[1] - y) > 0.1 for x, y in found):
            found.append(meets)
    return found


def near_middle(picture: Drawn, element: str, point: Dot) -> bool:
    """Whether the roads of a fitting may cross here: in its frame if it has one."""
    if element in picture.frames:
        left, top, right, bottom = picture.frames[element]
        return left < point[0] < right and top < point[1] < bottom
    dots = [dot for *_, line in picture.elements[element] for dot in line]
    shared = min(dots, key=lambda dot: hypot(dot[0] - point[0], dot[1] - point[1]))
    return hypot(shared[0] - point[0], shared[1] - point[1]) < NEAR


def angle(a: Dot, b: Dot, c: Dot) -> float:
    """By how much track turns at a dot, in radians."""
    turn = abs(atan2(c[1] - b[1], c[0] - b[0]) - atan2(b[1] - a[1], b[0] - a[0]))
    return min(turn, 2 * pi - turn)


def bends(picture: Drawn, layout: Layout) -> int:
    """Places at which track changes its direction between level and slanting: within an
    element, or from one to the next. Where the ways of a fitting part is none, except for
    points whose straight way turns there."""
    places: set[tuple[int, int]] = set()
    ends: dict[str, tuple[Dot, Dot]] = {}
    for name, ways in picture.elements.items():
        for a, b, _, line in ways:
            ends[f"{name}.{a}"] = (line[1], line[0])
            ends[f"{name}.{b}"] = (line[-2], line[-1])
        parting = set() if layout.elements[name].plain else _partings(ways)
        for *_, line in ways:
            for a, b, c in zip(line, line[1:], line[2:], strict=False):
                if 0.7 < angle(a, b, c) < 0.9 and b not in parting:
                    places.add((round(b[0]), round(b[1])))
    for joined in picture.joints:
        legs = [ends[leg] for leg in joined if leg in ends]
        if len(legs) == 2:
            (a, b), (c, _) = legs
            if 0.7 < angle(a, b, c) < 0.9:
                places.add((round(b[0]), round(b[1])))
    return len(places) + sum(_turns_straight_on(picture, layout, name) for name in layout.elements)


def _partings(ways: Sequence[tuple[str, str, str, list[Dot]]]) -> set[Dot]:
    """Where two ways part that come from a leg which all share: the last dots that they have in
    common. From slips and diamonds roads part in curves, or do not."""
    found: set[Dot] = set()
    for leg in set.intersection(*({a, b} for a, b, _, _ in ways)):
        lines = [line if leg == a else line[::-1] for a, _, _, line in ways]
        for pair in itertools.combinations(lines, 2):
            common = [x for x, y in zip(*pair, strict=False) if x == y]
            found.add(common[-1])
    return found


def on_a_straight_line(layout: Layout, name: str) -> bool:
    """Whether an element is points, and no leg of their straight way joins the diverging leg of
    others directly: there a line comes on a slant."""
    way = straight_way(layout.elements[name])
    return way is not None and all(_straight_on(layout, Leg(name, leg)) for leg in way)


def _turns_straight_on(picture: Drawn, layout: Layout, name: str) -> bool:
    """Whether points that lie on a straight line turn it where their ways part."""
    if not on_a_straight_line(layout, name):
        return False
    line, at = _parting(picture, layout, name)
    return 0 < at < len(line) - 1 and angle(*line[at - 1 : at + 2]) > 0.7


def _parting(picture: Drawn, layout: Layout, name: str) -> tuple[list[Dot], int]:
    """The straight way through points, and at which of its dots their ways part: the last
    that all have, as all begin at the leg that they share."""
    way = straight_way(layout.elements[name])
    lines = {(a, b): line for a, b, _, line in picture.elements[name]}
    line = next(line for legs, line in lines.items() if legs == way)
    return line, max(k for k, dot in enumerate(line) if all(dot in o for o in lines.values()))


def parting_of(picture: Drawn, layout: Layout, name: str) -> Dot:
    """Where the ways of points part."""
    line, at = _parting(picture, layout, name)
    return line[at]


def straight_way(element: Element) -> tuple[str, str] | None:
    """The way of points that is straight on: that which lies right while all drives are in
    their first positions. None for plain track and for what has no leg that all ways share."""
    kind = element.kind
    shared = set.intersection(*(set(way.legs) for way in kind.ways)) if kind.ways else set()
    if element.plain or not shared or len(kind.ways) > 3:
        return None
    for way in kind.ways:
        if all(kind.drives[drive][0] == position for drive, position in way.when):
            return way.legs
    return None


def unlevel_points(picture: Drawn, layout: Layout) -> list[str]:
    """The points whose straight way is not level where the ways part, except for apexes; a leg
    that joins the diverging leg of others directly comes from there on a slant and is not looked
    at."""
    found = []
    for name, element in layout.elements.items():
        way = straight_way(element)
        if way is None:
            continue
        line, at = _parting(picture, layout, name)
        if name in apexes(picture, layout):
            continue
        sides = ((way[0], line[max(0, at - 1)]), (way[1], line[min(at + 1, len(line) - 1)]))
        for leg, beside in sides:
            if abs(beside[1] - line[at][1]) > 0.5 and _straight_on(layout, Leg(name, leg)):
                found.append(name)
    return list(dict.fromkeys(found))


def apexes(picture: Drawn, layout: Layout) -> list[str]:
    """The points from which no leg leads level: upright their toe, to either side the others."""
    found = []
    for name, element in layout.elements.items():
        if straight_way(element) is not None:
            line, at = _parting(picture, layout, name)
            toe = line[max(0, at - 1)]
            if abs(toe[0] - line[at][0]) < 0.5 < abs(toe[1] - line[at][1]):
                found.append(name)
    return found


def bent_pieces(picture: Drawn, layout: Layout) -> list[str]:
    """Plain pieces with a corner in them that lead straight on at both ends: to more plain
    track, to a stop or an edge, or to points by a leg of their straight way."""
    found = []
    for name, element in layout.elements.items():
        if not element.plain:
            continue
        ((_, _, _, line),) = picture.elements[name]
        turns = [angle(a, b, c) for a, b, c in zip(line, line[1:], line[2:], strict=False)]
        corner = any(0.7 < turn < 0.9 for turn in turns)
        if corner and all(_straight_on(layout, Leg(name, leg)) for leg in ("left", "right")):
            found.append(name)
    return found


def _straight_on(layout: Layout, leg: Leg) -> bool:
    end = layout.joined[leg]
    if not isinstance(end, Leg) or layout.elements[end.element].plain:
        return True
    way = straight_way(layout.elements[end.element])
    return way is not None and end.leg in way
