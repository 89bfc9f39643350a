"""Points, paths and boxes: the plane geometry of the picture, nothing of railways."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import cos, hypot, pi, sin
from typing import NamedTuple


class Point(NamedTuple):
    """A place in pixels; x grows rightwards, y downwards."""

    x: float
    y: float

    def moved(self, along: Point, length: float) -> Point:
        return Point(self.x + along.x * length, self.y + along.y * length)


class Box(NamedTuple):
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box) -> bool:
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def grown(self, by: float) -> Box:
        return Box(self.left - by, self.top - by, self.right + by, self.bottom + by)

    def cut_by(self, a: Point, b: Point) -> bool:
        """Whether a segment enters the box (Liang and Barsky's clipping)."""
        low, high = 0.0, 1.0
        for start, step, least, most in (
            (a.x, b.x - a.x, self.left, self.right),
            (a.y, b.y - a.y, self.top, self.bottom),
        ):
            if step == 0:
                if not least < start < most:
                    return False
                continue
            one, other = (least - start) / step, (most - start) / step
            low, high = max(low, min(one, other)), min(high, max(one, other))
        return low < high


def around(points: Iterable[Point]) -> Box:
    """The box round some points."""
    xs, ys = zip(*points, strict=True)
    return Box(min(xs), min(ys), max(xs), max(ys))


class Segment(NamedTuple):
    """A straight piece of a path, or with a radius a quarter of a circle.

    clockwise: whether an arc turns clockwise as drawn.
    """

    start: Point
    end: Point
    radius: float = 0.0
    clockwise: bool = False

    @property
    def length(self) -> float:
        if self.radius:
            return self.radius * pi / 2
        return hypot(self.end.x - self.start.x, self.end.y - self.start.y)

    @property
    def level(self) -> bool:
        return not self.radius and abs(self.start.y - self.end.y) < 1e-6

    def back(self) -> Segment:
        return Segment(self.end, self.start, self.radius, not self.clockwise)


@dataclass(frozen=True, slots=True)
class Path:
    """Segments that follow each other."""

    segments: tuple[Segment, ...]

    @classmethod
    def through(cls, points: Iterable[Point]) -> Path:
        """The path through some points; those in line with their neighbours are left out."""
        kept: list[Point] = []
        for point in points:
            if kept and hypot(point.x - kept[-1].x, point.y - kept[-1].y) < 1e-6:
                continue
            if len(kept) >= 2 and _in_line(kept[-2], kept[-1], point):
                kept.pop()
            kept.append(point)
        return cls(tuple(Segment(a, b) for a, b in itertools.pairwise(kept)))

    def __add__(self, other: Path) -> Path:
        return Path(self.segments + other.segments)

    @property
    def length(self) -> float:
        return sum(s.length for s in self.segments)

    def back(self) -> Path:
        return Path(tuple(s.back() for s in reversed(self.segments)))

    def at(self, where: float) -> tuple[Point, Point]:
        """The point at a length along the path, and the direction there."""
        rest = where
        for number, segment in enumerate(self.segments):
            length = segment.length
            if rest <= length + 1e-9 or number + 1 == len(self.segments):
                share = min(1.0, rest / length) if length else 0.0
                dx, dy = segment.end.x - segment.start.x, segment.end.y - segment.start.y
                size = hypot(dx, dy) or 1.0
                point = Point(segment.start.x + dx * share, segment.start.y + dy * share)
                return point, Point(dx / size, dy / size)
            rest -= length
        raise ValueError("a path without segments")

    def part(self, start: float, end: float) -> Path:
        """The path between two lengths along it. Arcs are kept whole."""
        kept, done = [], 0.0
        for segment in self.segments:
            length = segment.length
            low, high = max(start, done), min(end, done + length)
            if high - low > 1e-6:
                if segment.radius:
                    kept.append(segment)
                else:
                    a, b = ((v - done) / length for v in (low, high))
                    kept.append(Segment(_between(segment, a), _between(segment, b)))
            done += length
        return Path(tuple(kept))

    def levels(self) -> Iterator[tuple[float, float]]:
        """The stretches that are level, as lengths along the path."""
        done, begun = 0.0, None
        for segment in self.segments:
            if segment.level and begun is None:
                begun = done
            elif not segment.level and begun is not None:
                yield begun, done
                begun = None
            done += segment.length
        if begun is not None:
            yield begun, done

    def chords(self) -> Iterator[tuple[Point, Point]]:
        """Straight lines along which the path runs; four for each arc."""
        for s in self.segments:
            if not s.radius:
                yield s.start, s.end
                continue
            corner = _corner(s)
            middle = Point(s.start.x + s.end.x - corner.x, s.start.y + s.end.y - corner.y)
            dots = [s.start]
            for k in (1, 2, 3):
                # From the centre of the circle, between the directions of its two ends.
                a, b = cos(k * pi / 8), sin(k * pi / 8)
                dots.append(
                    Point(
                        middle.x + (s.start.x - middle.x) * a + (s.end.x - middle.x) * b,
                        middle.y + (s.start.y - middle.y) * a + (s.end.y - middle.y) * b,
                    )
                )
            dots.append(s.end)
            yield from itertools.pairwise(dots)


def _between(segment: Segment, share: float) -> Point:
    a, b = segment.start, segment.end
    return Point(a.x + (b.x - a.x) * share, a.y + (b.y - a.y) * share)


def _corner(arc: Segment) -> Point:
    """Where the tangents at the two ends of a quarter circle meet."""
    a, b = arc.start, arc.end
    # With the sun, from right to down or from left to up, the arc begins level.
    begins_level = ((b.x > a.x) == (b.y > a.y)) == arc.clockwise
    return Point(b.x, a.y) if begins_level else Point(a.x, b.y)


def _in_line(a: Point, b: Point, c: Point) -> bool:
    cross = (b.x - a.x) * (c.y - b.y) - (b.y - a.y) * (c.x - b.x)
    along = (b.x - a.x) * (c.x - b.x) + (b.y - a.y) * (c.y - b.y)
    return abs(cross) < 1e-6 and along > 0


CELL = 64.0


def cells(box: Box) -> Iterator[tuple[int, int]]:
    """The cells of a coarse grid that a box lies in, to find what is near it."""
    for x in range(int(box.left // CELL), int(box.right // CELL) + 1):
        for y in range(int(box.top // CELL), int(box.bottom // CELL) + 1):
            yield x, y


def crossing(a: Point, b: Point, c: Point, d: Point) -> Point | None:
    """Where two segments cross inside both of them."""
    bx, by, dx, dy = b.x - a.x, b.y - a.y, d.x - c.x, d.y - c.y
    turn = bx * dy - by * dx
    if abs(turn) < 1e-9:
        return None
    s = ((c.x - a.x) * dy - (c.y - a.y) * dx) / turn
    t = ((c.x - a.x) * by - (c.y - a.y) * bx) / turn
    if not (1e-6 < s < 1 - 1e-6 and 1e-6 < t < 1 - 1e-6):
        return None
    return Point(a.x + bx * s, a.y + by * s)
