"""Where track gets in the way of other track or of signals: bridges, cramped signals."""

from __future__ import annotations

from collections import defaultdict
from math import hypot

from bellcrank.layout.layout_model import Edge, Layout, Leg
from bellcrank.picture.drawn import SLIP_CURVE, Bridge, DrawnElement, Plan
from bellcrank.picture.geometry import Box, Point, around, cells, crossing


def bridges(made: Plan) -> list[Bridge]:
    """Where lines of different elements cross; the later in the text goes over."""
    rank = {name: k for k, name in enumerate(made.elements)}
    segments: dict[tuple[int, int], list[tuple[str, Point, Point]]] = defaultdict(list)
    found: dict[tuple[str, str, Point], Bridge] = {}
    for name, element in made.elements.items():
        for way in element.ways:
            for path in way.parts:
                for a, b in path.chords():
                    for cell in cells(around((a, b))):
                        segments[cell].append((name, a, b))
    for listed in segments.values():
        for k, (one, a, b) in enumerate(listed):
            for other, c, d in listed[k + 1 :]:
                point = crossing(a, b, c, d)
                if point is None or (one == other and _within(made.elements[one], point)):
                    continue
                over_first = rank[one] > rank[other]
                start, end = (a, b) if over_first else (c, d)
                over, under = (one, other) if over_first else (other, one)
                size = hypot(end.x - start.x, end.y - start.y)
                direction = Point((end.x - start.x) / size, (end.y - start.y) / size)
                rounded = Point(round(point.x, 1), round(point.y, 1))
                found.setdefault((over, under, rounded), Bridge(over, under, point, direction))
    return list(found.values())


def _within(element: DrawnElement, point: Point) -> bool:
    """Whether two ways of a fitting cross here in the fitting itself."""
    if element.frame is not None:
        (left, top), (right, bottom) = element.frame
        return left < point.x < right and top < point.y < bottom
    return hypot(point.x - element.middle.x, point.y - element.middle.y) < SLIP_CURVE + 2


def cramped_signals(layout: Layout, made: Plan) -> set[Leg | Edge]:
    """The places of signals that would stand on other track or on other symbols."""
    track: dict[tuple[int, int], list[tuple[Point, Point]]] = defaultdict(list)
    for path in made.paths():
        for a, b in path.chords():
            for cell in cells(around((a, b)).grown(1)):
                track[cell].append((a, b))
    cramped: set[Leg | Edge] = set()
    for name, signal in made.signals.items():
        corners = (signal.place(along, aside) for along in (-31.0, -1.0) for aside in (4.0, 15.5))
        box = around(corners)
        near = {segment for cell in cells(box) for segment in track.get(cell, ())}
        if any(box.grown(0.5).cut_by(a, b) for a, b in near):
            cramped.add(layout.signals[name].before)
        for element in made.elements.values():
            if any(abs(d.x - signal.point.x) < 60 and
                   box.grown(5).meets(Box(d.x, d.y, d.x, d.y).grown(0.1))
                   for _, d in element.drives):  # fmt: skip
                cramped.add(layout.signals[name].before)
    return cramped
