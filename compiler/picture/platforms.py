"""Where platforms lie: along the level part of the track that they are beside.

Before names are placed, and after track and signals: a platform takes what these leave it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from bellcrank.layout.layout_model import Layout
from bellcrank.layout.shown_model import Platform
from bellcrank.picture.drawn import DrawnPlatform, Plan
from bellcrank.picture.geometry import Box, Point
from bellcrank.picture.measures import LINE_HEIGHT, text_width
from bellcrank.picture.symbols import boxes

OFF = 7.0
"""Between a line and the edge of the platform beside it."""

DEPTH = 17.0
"""How deep a platform is that has track on one side."""

CLEAR = 4.0
"""Between a platform and whatever it ends at."""

SHORTEST = 30.0
"""A shorter one is not worth drawing."""

MARGIN = 6.0
"""At either end of what is written on it."""

AT_STOP = 8.0
"""What a buffer stop takes at the end of its road."""

DEEPEST = 120.0
"""Roads further apart than this have no platform between them."""


@dataclass(frozen=True, slots=True)
class _Level:
    """Where named track is level at one height: from x to x."""

    y: float
    low: float
    high: float


def length_of(platform: Platform) -> float:
    """How long the track beside a platform should be, so that its label stands on it."""
    return max(SHORTEST, text_width(platform.label) + 2 * MARGIN) + 2 * CLEAR + AT_STOP


def lay_platforms(layout: Layout, plan: Plan) -> tuple[list[DrawnPlatform], list[Platform]]:
    """The platforms of a layout where they lie, and those that are not shown as they are said
    to be."""
    taken = _Taken(plan)
    laid: list[DrawnPlatform] = []
    without: list[Platform] = []
    for platform in layout.shown.platforms:
        levels = _levels(plan, platform)
        wanted = list(_wanted(platform, levels))
        found = [box for strip in wanted if (box := taken.free(strip)) is not None]
        if not found:
            without.append(platform)
            found = [box for strip in _sides(levels[:1]) if (box := taken.free(strip)) is not None]
        if not found:
            continue
        longest = max(box.right - box.left for box in found)
        box = min(
            (b for b in found if b.right - b.left > longest - 10.0),
            key=lambda b: taken.crowded(b),
        )
        taken.boxes.append(box)
        room = box.right - box.left - MARGIN
        inside = text_width(platform.label) <= room and box.bottom - box.top >= LINE_HEIGHT
        laid.append(DrawnPlatform(platform.label, box, inside))
    return laid, without


def _levels(plan: Plan, platform: Platform) -> list[_Level]:
    """The level stretches of the track that is named, those at one height as one, in the order
    of the text."""
    found: dict[float, _Level] = {}
    for name in platform.pieces:
        along = plan.elements[name].along
        assert along is not None
        stretches = sorted(along.levels(), key=lambda s: (s[0] - s[1], s[0]))
        for start, end in stretches[:1]:
            (one, _), (other, _) = along.at(start), along.at(end)
            low, high = sorted((one.x, other.x))
            key = round(one.y, 1)
            known = found.get(key, _Level(one.y, low, high))
            found[key] = _Level(one.y, min(low, known.low), max(high, known.high))
    return list(found.values())


def _wanted(platform: Platform, levels: list[_Level]) -> Iterator[Box]:
    """The strips in which a platform may lie as it is said to."""
    if not levels:
        return
    if platform.where == "beside" and len(levels) == 2:
        upper, lower = sorted(levels, key=lambda level: level.y)
        strip = Box(
            max(upper.low, lower.low), upper.y + OFF, min(upper.high, lower.high), lower.y - OFF
        )
        if DEPTH <= strip.bottom - strip.top <= DEEPEST:
            yield strip
        return
    if platform.where == "above":
        yield next(_sides([min(levels, key=lambda level: level.y)]))
    elif platform.where == "below":
        yield list(_sides([max(levels, key=lambda level: level.y)]))[1]
    elif len(levels) == 1:
        yield from _sides(levels)


def _sides(levels: Iterable[_Level]) -> Iterator[Box]:
    """The strips above and below track."""
    for level in levels:
        yield Box(level.low, level.y - OFF - DEPTH, level.high, level.y - OFF)
        yield Box(level.low, level.y + OFF, level.high, level.y + OFF + DEPTH)


class _Taken:
    """What platforms keep clear of."""

    def __init__(self, plan: Plan) -> None:
        self.boxes = list(boxes(plan))
        self.chords = [chord for path in plan.paths() for chord in path.chords()]

    def free(self, strip: Box) -> Box | None:
        """The longest part of a strip that nothing stands in, if it is long enough."""
        barred = sorted(self._barred(strip))
        best, low = (strip.left, strip.left), strip.left
        for left, right in [*barred, (strip.right, strip.right)]:
            if min(left, strip.right) - low > best[1] - best[0]:
                best = (low, min(left, strip.right))
            low = max(low, right)
        left, right = best[0] + CLEAR, best[1] - CLEAR
        return Box(left, strip.top, right, strip.bottom) if right - left >= SHORTEST else None

    def crowded(self, box: Box) -> int:
        """How much track is on that side of it where its own is not: outer sides come first."""
        beside = Box(box.left, box.top - 2 * DEPTH, box.right, box.bottom + 2 * DEPTH)
        return sum(beside.cut_by(a, b) for a, b in self.chords)

    def _barred(self, strip: Box) -> Iterator[tuple[float, float]]:
        wide = Box(strip.left, strip.top - 1.0, strip.right, strip.bottom + 1.0)
        for box in self.boxes:
            if box.meets(wide):
                yield box.left, box.right
        for a, b in self.chords:
            if wide.cut_by(a, b):
                yield _within(a, b, wide)


def _within(a: Point, b: Point, box: Box) -> tuple[float, float]:
    """From where to where on the x axis a line runs between the top and bottom of a box."""
    if abs(a.y - b.y) < 1e-9:
        return min(a.x, b.x), max(a.x, b.x)
    ends = []
    for y in (box.top, box.bottom):
        share = min(1.0, max(0.0, (y - a.y) / (b.y - a.y)))
        ends.append(a.x + (b.x - a.x) * share)
    return min(ends), max(ends)
