"""How large the symbols are, and what room they take: signals, stops, edges, ticks."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from bellcrank.layout.layout_model import Edge, Signal
from bellcrank.picture.drawn import DrawnEnd, DrawnJoint, DrawnSignal, Plan
from bellcrank.picture.geometry import Box, Point, around

LAMPS = (4.2, 4.2, 3.5)
"""Radius of a signal's heads, by how many they are: one, two or three."""

ASIDE = 10.0
"""How far from the line a signal stands."""

TICK = 6.0
"""Half the length of the tick at a section's end."""

STOP = 8.0
"""Half the height of a buffer stop."""

DRIVE = 3.2
"""Half the side of the square that marks a drive."""


def lamps(signal: Signal) -> int:
    """How many heads a signal is drawn with: one fewer than its aspects, three at most."""
    return max(1, min(len(LAMPS), len(signal.aspects) - 1))


def lamp_radius(signal: Signal) -> float:
    return LAMPS[lamps(signal) - 1]


def lamp_places(drawn: DrawnSignal, signal: Signal) -> list[Point]:
    """The middles of a signal's heads, the foremost first."""
    apart = 2 * lamp_radius(signal)
    return [drawn.place(-6.0 - k * apart, ASIDE) for k in range(lamps(signal))]


def lamps_lit(signal: Signal) -> list[tuple[str, ...]]:
    """For each head, the foremost first, the aspects that light it; at stop none is lit.

    The most permissive aspect lights the foremost head, the one before it the next. If
    there are more aspects than heads, the following light two, and then all three: that
    tells eight aspects apart, and all beyond light all.
    """
    count = lamps(signal)
    sets = [s for size in range(1, count + 1) for s in combinations(range(count), size)]
    lit: list[list[str]] = [[] for _ in range(count)]
    for rank, aspect in enumerate(reversed(signal.aspects[1:])):
        for head in sets[min(rank, len(sets) - 1)]:
            lit[head].append(aspect.name)
    return [tuple(names) for names in lit]


def signal_box(drawn: DrawnSignal) -> Box:
    corners = [
        drawn.place(along, aside) for along in (-31.0, -1.0) for aside in (ASIDE - 5, ASIDE + 5.5)
    ]
    return around(corners)


def end_box(drawn: DrawnEnd) -> Box:
    half = STOP + 1
    d = drawn.direction
    edge = isinstance(drawn.end, Edge)
    box = around([drawn.point.moved(d, 0.0 if edge else -6.0), drawn.point.moved(d, 9.0 if edge
                  else 1.5)])  # fmt: skip
    if abs(d.x) > 0.5:
        return Box(box.left, box.top - half, box.right, box.bottom + half)
    return Box(box.left - half, box.top, box.right + half, box.bottom)


def tick(drawn: DrawnJoint, half: float = TICK) -> tuple[Point, Point]:
    """The ends of a stroke across the track."""
    across = Point(-drawn.direction.y, drawn.direction.x)
    return drawn.point.moved(across, half), drawn.point.moved(across, -half)


def boxes(plan: Plan) -> Iterator[Box]:
    """The room of every symbol that stands beside or at the end of track."""
    yield from map(signal_box, plan.signals.values())
    yield from map(end_box, plan.ends)
    yield from (platform.box for platform in plan.platforms)
    for element in plan.elements.values():
        for _, point in element.drives:
            spot = Box(point.x - DRIVE, point.y - DRIVE, point.x + DRIVE, point.y + DRIVE)
            yield spot.grown(1.0)
