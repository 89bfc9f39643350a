"""A long picture in rows, one under another, with match letters where lines go on.

A row is cut where nothing but level plain track runs; if there is no such place in the last two
thirds of the row, where track runs at a slant as well, and only then anywhere. So a name, a
signal or the middle of a fitting is cut only if something stands at every place. Each line that
is cut has a letter, at the end of one row and at the beginning of the next.
"""

from __future__ import annotations

import string
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil

from bellcrank.picture.drawn import Plan
from bellcrank.picture.geometry import Box

LEAST_ROW = 400.0
"""No row is narrower, in pixels: names must fit between two cuts."""

BESIDE = 30.0
"""Room for the letters at either end of a row."""

MATCH = 8.0
"""Radius of the ring round a letter."""

KEPT = 4.0
"""How far from everything a cut keeps."""

KEPT_FROM_MIDDLE = 24.0
"""How far from the middle of a fitting it does, where it may cut its legs."""

A_LINE = 150.0
"""For one line fewer that is cut, a cut lies so much further from where it is wanted."""


@dataclass(frozen=True, slots=True)
class Match:
    """A line that goes on in another row: its letter, and how far down it runs."""

    letter: str
    y: float


@dataclass(frozen=True, slots=True)
class Row:
    """What a row shows of the plane, and the lines that begin and end at its cuts."""

    box: Box
    begins: tuple[Match, ...] = ()
    ends: tuple[Match, ...] = ()


@dataclass(frozen=True, slots=True)
class _Clear:
    """A stretch from left to right in which there is nothing but track that may be cut.

    lines: how many run there.
    """

    low: float
    high: float
    lines: int


def rows(plan: Plan, box: Box, room: Iterable[Box], width: float) -> tuple[Row, ...]:
    """The rows of a picture, none for one that is not too wide.

    box: all that is drawn. room: symbols and names. width: of a row at most, in pixels.
    """
    most = max(width, LEAST_ROW) - 2 * BESIDE
    whole = box.right - box.left
    if whole <= most:
        return ()
    taken = [(one.left - KEPT, one.right + KEPT) for one in room] + list(_marked(plan))
    clear = list(_clear(plan, box, [*taken, *_slanting(plan)]))
    slanting = list(_clear(plan, box, [*taken, *_middles(plan)]))
    letters = _letters()
    made: list[Row] = []
    left, begins = box.left, tuple[Match, ...]()
    while box.right - left > most:
        wanted = (box.right - left) / ceil((box.right - left) / most)
        cut = _cut(clear, left, wanted, most)
        if cut is None:
            cut = _cut(slanting, left, wanted, most)
        if cut is None:
            cut = left + most
        lines = _lines_at(plan, cut)
        ends = tuple(Match(next(letters), y) for y in lines)
        made.append(Row(Box(left, box.top, cut, box.bottom), begins, ends))
        left, begins = cut, ends
    return (*made, Row(Box(left, box.top, box.right, box.bottom), begins))


def _cut(clear: Sequence[_Clear], left: float, wanted: float, most: float) -> float | None:
    """Where a row ends: as near as can be to the wanted width, and rather where fewer lines are
    cut. None if there is no place for it."""
    places = []
    for stretch in clear:
        low, high = max(stretch.low, left + most / 3), min(stretch.high, left + most)
        if low <= high:
            place = min(max(left + wanted, low), high)
            far = abs(place - left - wanted) + A_LINE * stretch.lines
            places.append((far, place))
    return min(places)[1] if places else None


_Taken = tuple[float, float]
"""From where to where on the x axis nothing may be cut."""


def _marked(plan: Plan) -> Iterator[_Taken]:
    for joint in plan.joints:
        yield joint.point.x - KEPT, joint.point.x + KEPT
    for bridge in plan.bridges:
        yield bridge.point.x - 4 * KEPT, bridge.point.x + 4 * KEPT


def _slanting(plan: Plan) -> Iterator[_Taken]:
    """Fittings, and track that is not level."""
    for element in plan.elements.values():
        for way in element.ways:
            for path in way.parts:
                for a, b in path.chords():
                    if element.along is None or abs(a.y - b.y) > 1e-6:
                        yield min(a.x, b.x) - KEPT, max(a.x, b.x) + KEPT


def _middles(plan: Plan) -> Iterator[_Taken]:
    """What of fittings, and of track that turns back, is never cut."""
    for element in plan.elements.values():
        if element.frame is not None:
            (left, _), (right, _) = element.frame
            yield left - KEPT, right + KEPT
        elif element.along is None:
            yield element.middle.x - KEPT_FROM_MIDDLE, element.middle.x + KEPT_FROM_MIDDLE
        for way in element.ways:
            for segment in (s for path in way.parts for s in path.segments):
                if segment.radius or abs(segment.start.x - segment.end.x) < 1e-6:
                    xs = sorted((segment.start.x, segment.end.x))
                    yield xs[0] - KEPT, xs[1] + KEPT


def _clear(plan: Plan, box: Box, taken: Iterable[_Taken]) -> Iterator[_Clear]:
    at = box.left
    for low, high in [*sorted(taken), (box.right, box.right)]:
        if low > at:
            yield _Clear(at, low, len(_lines_at(plan, (at + low) / 2)))
        at = max(at, high)


def _lines_at(plan: Plan, x: float) -> tuple[float, ...]:
    """How far down lines run at a place from left to right."""
    return tuple(
        sorted(
            {
                round(a.y + (b.y - a.y) * (x - a.x) / (b.x - a.x), 2)
                for path in plan.paths()
                for a, b in path.chords()
                if min(a.x, b.x) < x <= max(a.x, b.x)
            }
        )
    )


def _letters() -> Iterator[str]:
    """A, B and so on; after Z come AA, AB and so on."""
    for first in ("", *string.ascii_uppercase):
        for letter in string.ascii_uppercase:
            yield first + letter
