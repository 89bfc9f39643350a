"""The names in the picture and the places that each may choose from."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from math import hypot

from bellcrank.layout.layout_model import Edge, Layout
from bellcrank.picture.drawn import DrawnElement, Plan
from bellcrank.picture.geometry import CELL, Box, Path, Point, cells
from bellcrank.picture.measures import LINE_HEIGHT, text_width
from bellcrank.picture.name_places import Ground, Wish
from bellcrank.picture.overlays import Named
from bellcrank.picture.symbols import ASIDE, boxes, tick

NEAR = 5.0
"""Room between a line and the box of a name beside it."""


def ground_of(plan: Plan) -> Ground:
    """What names must keep clear of."""
    ground = Ground()
    for path in plan.paths():
        for a, b in path.chords():
            ground.add_segment(a, b)
    for joint in plan.joints:
        if joint.section_end:
            ground.add_segment(*tick(joint))
    for box in boxes(plan):
        ground.add_box(box)
    for bridge in plan.bridges:
        reach = 12.0
        ground.add_box(
            Box(bridge.point.x - reach, bridge.point.y - reach, bridge.point.x + reach,
                bridge.point.y + reach)
        )  # fmt: skip
    for element in plan.elements.values():
        for way in element.ways:
            if way.curve is not None:
                ends = way.parts[0].segments[-1].end, way.parts[1].segments[0].start
                ground.add_segment(*ends)
        if element.frame is not None:
            (left, top), (right, bottom) = element.frame
            corners = [Point(left, top), Point(right, top), Point(right, bottom),
                       Point(left, bottom)]  # fmt: skip
            for a, b in zip(corners, corners[1:] + corners[:1], strict=True):
                ground.add_segment(a, b)
    return ground


def wishes(
    layout: Layout, plan: Plan, beneath: Mapping[Named, tuple[str, ...]] | None = None
) -> list[Wish]:
    """Every name, with the places that suit it. beneath: lines that stand below names."""
    found = []
    near = _Nearest(plan)
    below = beneath or {}
    for name, element in plan.elements.items():
        lines = below.get(("element", name), ())
        if element.along is not None:
            places = list(_with_room(name, lines, _along(element), element.middle))
            found.append(Wish(name, name, "piece", tuple(places), beneath=lines))
        else:
            around = _with_room(name, lines, _fitting_places(name, element), element.middle)
            places, own = near.own_first(name, around)
            found.append(Wish(name, name, "fitting", tuple(places), own, beneath=lines))
    for name, signal in plan.signals.items():
        width = text_width(name)
        high = ASIDE + 5.5 + LINE_HEIGHT / 2 + 2.5
        flat = abs(signal.direction.x) > 0.5
        over = (-16.0, -20.0, -12.0, -26.0, -4.0, -32.0, 4.0)
        reach = width / 2 if flat else LINE_HEIGHT / 2
        places = [signal.place(-34.0 - reach, ASIDE + 2)]
        places += [signal.place(along, high) for along in over]
        places += [signal.place(4.0 + reach, ASIDE + 2)]
        places += [signal.place(along, high + 8) for along in over]
        lines = below.get(("signal", name), ())
        places = list(_with_room(name, lines, places, signal.place(-15.0, ASIDE)))
        found.append(Wish(name, name, "signal", tuple(places), beneath=lines))
    for end in plan.ends:
        if isinstance(end.end, Edge):
            name = end.end.name
            width = text_width(name)
            d = end.direction
            reach = 13.0 + (width / 2 if abs(d.x) > 0.5 else LINE_HEIGHT / 2)
            beyond = end.point.moved(d, reach)
            up = STEP_ASIDE
            places = [beyond, *(Point(beyond.x, beyond.y + dy) for dy in (-8.0, 8.0))]
            inward = end.point.moved(d, -width / 2)
            places += [Point(inward.x, inward.y - up), Point(inward.x, inward.y + up)]
            found.append(Wish(name, name, "edge", tuple(places)))
    return found


STEP_ASIDE = 17.0


def _along(element: DrawnElement) -> Iterator[Point]:
    assert element.along is not None
    return _piece_places(element.name, element.along)


def _with_room(
    name: str, lines: tuple[str, ...], places: Iterable[Point], middle: Point
) -> Iterator[Point]:
    """Places for a name that has lines below it, from those for the name alone: each is as
    much further from what is named as the whole is larger."""
    if not lines:
        yield from places
        return
    tall = LINE_HEIGHT * len(lines) / 2
    wide = max(0.0, max(map(text_width, lines)) - text_width(name)) / 2
    for place in places:
        up = -1.0 if place.y < middle.y else 1.0
        aside = 0.0 if place.x == middle.x else 1.0 if place.x > middle.x else -1.0
        over = abs(place.y - middle.y) > LINE_HEIGHT / 2
        yield Point(place.x, place.y + up * tall)
        if not over:
            yield Point(place.x + aside * wide, place.y)
        yield Point(place.x + aside * wide, place.y + up * tall)
    for far in (2.0, 3.0, 4.0):
        for x, y in ((0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1), (1, 0), (-1, 0)):
            yield Point(
                middle.x + x * (wide + text_width(name) / 2 + 6.0 * far),
                middle.y + y * (tall + 9.0 * far),
            )


def _piece_places(name: str, along: Path) -> Iterator[Point]:
    """Over or under the level stretches of a piece, the middle of the longest first."""
    levels = sorted(along.levels(), key=lambda s: (round(s[0] - s[1], 3), s[0]))
    aside = NEAR + LINE_HEIGHT / 2
    for offset in (aside, aside + 7):
        for start, end in levels:
            middle, direction = along.at((start + end) / 2)
            spare = max(0.0, (end - start - text_width(name)) / 2)
            steps = [0.0]
            for k in (1, 2, 3):
                steps += [spare * k / 3, -spare * k / 3]
            steps += [spare + 12, -spare - 12]
            for step in steps:
                for side in (-1.0, 1.0):
                    yield Point(middle.x + direction.x * step, middle.y + side * offset)
    middle, _ = along.at(along.length / 2)
    yield from _round_about(name, middle, 1.0)
    yield from _round_about(name, middle, 2.0)


def _fitting_places(name: str, element: DrawnElement) -> Iterator[Point]:
    middle = element.middle
    if element.frame is not None:
        (_, top), (_, bottom) = element.frame
        for y in (top - NEAR - LINE_HEIGHT / 2, bottom + NEAR + LINE_HEIGHT / 2):
            for x in (0.0, -12.0, 12.0, -24.0, 24.0):
                yield Point(middle.x + x, y)
    width = text_width(name)
    aside = NEAR + LINE_HEIGHT / 2
    for x in (-10.5, 10.5):  # between the legs at one end of a crossing
        yield Point(middle.x + x + (width / 2 if x > 0 else -width / 2), middle.y)
    for x in (0.0, -0.3, 0.3, -0.6, 0.6):
        for side in (1.0, -1.0):
            yield Point(middle.x + x * width, middle.y + side * aside)
    for far in (1.0, 1.5, 2.0, 2.6, 3.2):
        yield from _round_about(name, middle, far)


class _Nearest:
    """The fittings by where they are, to tell which of them a name would be read with."""

    def __init__(self, plan: Plan) -> None:
        self.middles: dict[tuple[int, int], list[tuple[str, Point]]] = defaultdict(list)
        for name, element in plan.elements.items():
            if element.along is None:
                spot = Box(element.middle.x, element.middle.y, element.middle.x, element.middle.y)
                for cell in cells(spot.grown(CELL)):
                    self.middles[cell].append((name, element.middle))

    def own_first(self, name: str, places: Iterable[Point]) -> tuple[list[Point], int]:
        """Places in their order, those that lie nearer to another fitting last, and how
        many do not."""
        own: list[Point] = []
        strange: list[Point] = []
        for place in places:
            (own if self._belongs(place) in (name, "") else strange).append(place)
        return own + strange, len(own)

    def _belongs(self, place: Point) -> str:
        there = self.middles.get((int(place.x // CELL), int(place.y // CELL)), ())
        # Names are read along the line: what lies beside counts more than what lies under.
        return min(
            there,
            key=lambda item: hypot(item[1].x - place.x, (item[1].y - place.y) * 0.8),
            default=("", place),
        )[0]


def _round_about(name: str, middle: Point, far: float) -> Iterator[Point]:
    """Places on a ring of boxes round a point."""
    width = text_width(name)
    rise, reach = 13.0 * far, width / 2 + 9.0 * far
    for x, y in ((0, 1), (0, -1), (1, 1), (-1, 1), (1, -1), (-1, -1), (1, 0.4), (-1, 0.4),
                 (1, -0.4), (-1, -0.4), (0.5, 1), (-0.5, 1), (0.5, -1), (-0.5, -1)):  # fmt: skip
        yield Point(middle.x + x * reach, middle.y + y * rise)
