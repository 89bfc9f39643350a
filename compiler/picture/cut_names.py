"""Names of a picture that is cut into rows: each stands whole in a row that shows what it names.

Half a number can be read as another number, and a name in another row as that of something else.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from math import hypot, inf

from bellcrank.picture.drawn import Plan
from bellcrank.picture.geometry import Box, Point
from bellcrank.picture.measures import LINE_HEIGHT
from bellcrank.picture.name_places import Wish
from bellcrank.picture.symbols import signal_box
from bellcrank.picture.wrapping import KEPT_AT_LEAST, Row

UP_AND_DOWN = (0, 1, -1, 2, -2, 3, -3)
"""Lines by which a name may be moved as well, where it would stand on something else."""

Placed = tuple[Wish, Point]
"""A name and the middle of its box."""

Stretch = tuple[float, float]
"""From where to where on the x axis."""


def clear_of_cuts(
    names: Sequence[Placed], plan: Plan, symbols: Iterable[Box], cuts: Sequence[float]
) -> tuple[Placed, ...]:
    """Names in their places; those over a cut, or beyond it from what they name, beside it, where
    they stand on nothing else if there is such a place.

    symbols: what no name may cover besides names and track.
    """
    if not cuts:
        return tuple(names)
    rows = list(pairwise((-inf, *cuts, inf)))
    track = [chord for path in plan.paths() for chord in path.chords()]
    homes = [_homes(wish, plan, rows) for wish, _ in names]
    well = [_within(w.box(at), own) for (w, at), own in zip(names, homes, strict=True)]
    taken = [*symbols, *(w.box(at) for (w, at), right in zip(names, well, strict=True) if right)]
    made: list[Placed] = []
    for (wish, place), own, right in zip(names, homes, well, strict=True):
        if not right:
            ways = sorted(_places(wish, place, own), key=lambda at: _far(at, place))
            free = (at for at in ways if _is_free(wish.box(at), taken, track))
            place = next(free, ways[0] if ways else place)
            taken.append(wish.box(place))
        made.append((wish, place))
    return tuple(made)


def with_names(rows: Iterable[Row], names: Sequence[Placed], white: float) -> tuple[Row, ...]:
    """Rows as high as the names in them need. white: how much there is round what stands there."""
    boxes = [wish.box(place).grown(white) for wish, place in names]
    made = []
    for row in rows:
        own = [b for b in boxes if row.box.left <= (b.left + b.right) / 2 < row.box.right]
        top = min((row.box.top, *(b.top for b in own)))
        bottom = max((row.box.bottom, *(b.bottom for b in own)))
        made.append(replace(row, box=Box(row.box.left, top, row.box.right, bottom)))
    return tuple(made)


def _homes(wish: Wish, plan: Plan, rows: Sequence[Stretch]) -> list[Stretch]:
    """The rows that show what a name is of; all, if it is of nothing that is drawn."""
    if wish.kind == "signal":
        box = signal_box(plan.signals[wish.of])
        left, right = box.left, box.right
    elif (element := plan.elements.get(wish.of)) is not None:
        xs = [
            point.x
            for way in element.ways
            for path in way.parts
            for chord in path.chords()
            for point in chord
        ]
        left, right = min(xs), max(xs)
    else:
        return list(rows)
    # What reaches only a little into a row has no room for a name there.
    shown = [row for row in rows if min(right, row[1]) - max(left, row[0]) > LINE_HEIGHT]
    return shown or list(rows)


def _within(box: Box, rows: Iterable[Stretch]) -> bool:
    return any(low <= box.left and box.right <= high for low, high in rows)


def _places(wish: Wish, place: Point, rows: Iterable[Stretch]) -> Iterator[Point]:
    """Where a name may stand in some rows, not far from its place."""
    box = wish.box(place)
    half = (box.right - box.left) / 2 + KEPT_AT_LEAST
    for low, high in rows:
        if high - low >= 2 * half:
            x = min(max(place.x, low + half), high - half)
            for lines in UP_AND_DOWN:
                yield Point(x, place.y + lines * LINE_HEIGHT)


def _far(one: Point, other: Point) -> float:
    return hypot(one.x - other.x, one.y - other.y)


def _is_free(box: Box, taken: Iterable[Box], track: Iterable[tuple[Point, Point]]) -> bool:
    return not any(map(box.meets, taken)) and not any(box.cut_by(a, b) for a, b in track)
