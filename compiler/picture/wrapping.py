"""A long picture in rows, one under another, with match letters where lines go on.

A row is cut where nothing but level plain track runs, so never through a name, a signal or a
fitting, as long as there is such a place in the last two thirds of the row. Each line that is
cut has a letter, at the end of one row and at the beginning of the next.
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
    """A stretch from left to right in which there is nothing but level plain track."""

    low: float
    high: float
    lines: tuple[float, ...]


def rows(plan: Plan, box: Box, room: Iterable[Box], width: float) -> tuple[Row, ...]:
    """The rows of a picture, none for one that is not too wide.

    box: all that is drawn. room: symbols and names. width: of a row at most, in pixels.
    """
    most = max(width, LEAST_ROW) - 2 * BESIDE
    whole = box.right - box.left
    if whole <= most:
        return ()
    clear = list(_clear(plan, box, room))
    letters = _letters()
    made: list[Row] = []
    left, begins = box.left, tuple[Match, ...]()
    while box.right - left > most:
        wanted = (box.right - left) / ceil((box.right - left) / most)
        cut, lines = _cut(plan, clear, left, wanted, most)
        ends = tuple(Match(next(letters), y) for y in lines)
        made.append(Row(Box(left, box.top, cut, box.bottom), begins, ends))
        left, begins = cut, ends
    return (*made, Row(Box(left, box.top, box.right, box.bottom), begins))


def _cut(
    plan: Plan, clear: Sequence[_Clear], left: float, wanted: float, most: float
) -> tuple[float, tuple[float, ...]]:
    """Where a row ends, and the lines that are cut there: as near as can be to the wanted
    width, and rather where fewer lines are cut."""
    places = []
    for stretch in clear:
        low, high = max(stretch.low, left + most / 3), min(stretch.high, left + most)
        if low <= high:
            place = min(max(left + wanted, low), high)
            far = abs(place - left - wanted) + A_LINE * len(stretch.lines)
            places.append((far, place, stretch.lines))
    if places:
        _, place, lines = min(places)
        return place, lines
    return left + most, _lines_at(plan, left + most)


def _clear(plan: Plan, box: Box, room: Iterable[Box]) -> Iterator[_Clear]:
    taken = [(one.left - KEPT, one.right + KEPT) for one in room]
    taken += [(joint.point.x - KEPT, joint.point.x + KEPT) for joint in plan.joints]
    taken += [(bridge.point.x - 3 * KEPT, bridge.point.x + 3 * KEPT) for bridge in plan.bridges]
    for element in plan.elements.values():
        for way in element.ways:
            for path in way.parts:
                for a, b in path.chords():
                    if element.along is None or abs(a.y - b.y) > 1e-6:
                        taken.append((min(a.x, b.x) - KEPT, max(a.x, b.x) + KEPT))
    at = box.left
    for low, high in [*sorted(taken), (box.right, box.right)]:
        if low > at:
            yield _Clear(at, low, _lines_at(plan, (at + low) / 2))
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
