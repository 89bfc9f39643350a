"""A long picture in rows, one under another, with match letters where lines go on.

Rows are cut where nothing but level plain track runs; if there are no such places, where track
runs at a slant as well, then through names, which are moved aside (`cut_names.py`), and only then
anywhere; a row with little in it is left over at the end only if all else fails. Of all ways to
cut, that with the fewest rows is taken, then that with few lines cut and rows of much the same
width. Each line that is cut has a letter, at the end of one row and at the beginning of the next.
"""

from __future__ import annotations

import itertools
import string
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil, inf

from bellcrank.picture.drawn import Plan
from bellcrank.picture.geometry import Box, Point
from bellcrank.picture.measures import LINE_HEIGHT

LEAST_ROW = 400.0
"""No row is narrower, in pixels: names must fit between two cuts."""

BESIDE = 30.0
"""Room for the letters at either end of a row."""

MATCH = 8.0
"""Radius of the ring round a letter."""

KEPT = 4.0
"""How far from everything a cut keeps."""

KEPT_AT_LEAST = 1.0
"""The same where names stand so close that there is no other place."""

KEPT_FROM_MIDDLE = 24.0
"""How far from the middle of a fitting it does, where it may cut its legs."""

A_LINE = 150.0
"""For one line fewer that is cut, a row may be so much wider or narrower than others."""

A_SLANT = 1000.0
"""The same for a cut that goes through no slanting track."""


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

    price: of a cut there, in pixels by which rows may differ in width instead.
    """

    low: float
    high: float
    price: float


def rows(
    plan: Plan,
    track: Box,
    white: float,
    room: Sequence[Box],
    symbols: Sequence[Box],
    width: float,
) -> tuple[Row, ...]:
    """The rows of a picture, none for one that is not too wide.

    track: what track and names take up. white: how much there is round it. room: symbols and
    names. symbols: these alone. width: of a row at most, in pixels.
    """
    most = max(width, LEAST_ROW) - 2 * BESIDE
    box = track.grown(white)
    if box.right - box.left <= most:
        return ()
    drawn = [*room, *track_boxes(plan)]
    letters = match_letters()
    made: list[Row] = []
    left, begins = box.left, tuple[Match, ...]()
    for right in (*_cuts(plan, track, room, symbols, box, most), box.right):
        # A row is as high as what stands in it.
        own = [one for one in drawn if one.left < right and one.right > left]
        if not own:
            continue  # what is left over is white
        top, bottom = min(one.top for one in own) - white, max(one.bottom for one in own) + white
        going_on = _heights(_chords(plan), right) if right < box.right else []
        ends = tuple(Match(next(letters), y) for y in going_on)
        made.append(Row(Box(left, top, right, bottom), begins, ends))
        left, begins = right, ends
    return tuple(made)


def _cuts(
    plan: Plan,
    track: Box,
    room: Sequence[Box],
    symbols: Sequence[Box],
    box: Box,
    most: float,
) -> list[float]:
    """Where rows end, from left to right."""
    for kept_from in (room, symbols):
        found = _cuts_beside(plan, track, kept_from, box, most)
        if found is not None:
            return found
    count = ceil((box.right - box.left) / most)
    return [box.left + most * n for n in range(1, count)]


def _cuts_beside(
    plan: Plan, track: Box, room: Sequence[Box], box: Box, most: float
) -> list[float] | None:
    """Where rows end, each beside what takes up room; None if there are no such places."""
    for last in (most / 3, 0.0):
        clear: list[_Clear] = []
        for price, away in ((0.0, _slanting), (A_SLANT, _middles)):
            for kept in (KEPT, KEPT_AT_LEAST):
                taken = [(one.left - kept, one.right + kept) for one in room]
                taken += [*_marked(plan, kept), *away(plan, kept)]
                clear += _clear(plan, track, taken, price)
                found = _best(clear, box, most, last)
                if found is not None:
                    return found
    return None


def _best(clear: Sequence[_Clear], box: Box, most: float, last: float) -> list[float] | None:
    """Cuts for as few rows as can be, of much the same width, where few lines are cut. None if
    there are no places for them. last: the least width of the last row."""
    count = _fewest(sorted({x for one in clear for x in (one.low, one.high)}), box, most, last)
    if count is None:
        return None
    usual = (box.right - box.left) / count
    wanted = [box.left + usual * n for n in range(1, count)]
    price: dict[float, float] = {}
    for one in clear:
        between = wanted[bisect_left(wanted, one.low) : bisect_right(wanted, one.high)]
        for place in (one.low, *between, one.high):
            price[place] = min(one.price, price.get(place, inf))
    places = sorted(price)
    # Row by row, the best way to come to each place: what it costs, and where the row begins.
    layers: list[dict[float, tuple[float, float]]] = [{box.left: (0.0, box.left)}]
    for number in range(1, count + 1):
        before, starts = layers[-1], sorted(layers[-1])
        reached: dict[float, tuple[float, float]] = {}
        if number < count:
            # What is left must go into the rows that are left.
            low = bisect_left(places, box.right - (count - number) * most)
            ends = places[low : bisect_right(places, starts[-1] + most)]
        else:
            ends = [box.right]
        for end in ends:
            least = most / 3 if number < count else last
            near = starts[bisect_left(starts, end - most) : bisect_right(starts, end - least)]
            if near:
                reached[end] = min(
                    (before[start][0] + price.get(end, 0.0) + abs(end - start - usual), start)
                    for start in near
                )
        layers.append(reached)
    cuts = [box.right]
    for reached in reversed(layers[1:]):
        cuts.append(reached[cuts[-1]][1])
    return cuts[-2:0:-1]


def _fewest(places: Sequence[float], box: Box, most: float, last: float) -> int | None:
    """How many rows there are at least, none but the last narrower than a third of the widest, and
    that no narrower than is said."""
    rows_to = {box.left: 0}
    starts = [box.left]
    for end in (*places, box.right):
        least = most / 3 if end < box.right else last
        near = starts[bisect_left(starts, end - most) : bisect_right(starts, end - least)]
        if near:
            rows_to[end] = 1 + min(rows_to[start] for start in near)
            starts.append(end)
    return rows_to.get(box.right)


_Taken = tuple[float, float]
"""From where to where on the x axis nothing may be cut."""


def _marked(plan: Plan, kept: float) -> Iterator[_Taken]:
    for joint in plan.joints:
        yield joint.point.x - kept, joint.point.x + kept
    for bridge in plan.bridges:
        yield bridge.point.x - 4 * kept, bridge.point.x + 4 * kept


def _slanting(plan: Plan, kept: float) -> Iterator[_Taken]:
    """Fittings, and track that is not level."""
    for element in plan.elements.values():
        for way in element.ways:
            for path in way.parts:
                for a, b in path.chords():
                    if element.along is None or abs(a.y - b.y) > 1e-6:
                        yield min(a.x, b.x) - kept, max(a.x, b.x) + kept


def _middles(plan: Plan, kept: float) -> Iterator[_Taken]:
    """What of fittings, and of track that turns back, is never cut."""
    for element in plan.elements.values():
        if element.frame is not None:
            (left, _), (right, _) = element.frame
            yield left - kept, right + kept
        elif element.along is None:
            yield element.middle.x - KEPT_FROM_MIDDLE, element.middle.x + KEPT_FROM_MIDDLE
        for way in element.ways:
            for segment in (s for path in way.parts for s in path.segments):
                if segment.radius or abs(segment.start.x - segment.end.x) < 1e-6:
                    xs = sorted((segment.start.x, segment.end.x))
                    yield xs[0] - kept, xs[1] + kept


def _clear(plan: Plan, track: Box, taken: Iterable[_Taken], more: float) -> Iterator[_Clear]:
    chords = sorted(_chords(plan), key=lambda chord: chord[0].x)
    begun = 0
    here: list[tuple[Point, Point]] = []
    at = track.left
    for low, high in [*sorted(taken), (track.right, track.right)]:
        if low > at:
            middle = (at + low) / 2
            while begun < len(chords) and chords[begun][0].x < middle:
                here.append(chords[begun])
                begun += 1
            here = [chord for chord in here if chord[1].x >= middle]
            yield _Clear(at, low, A_LINE * len(_heights(here, middle)) + more)
        at = max(at, high)


def _chords(plan: Plan) -> Iterator[tuple[Point, Point]]:
    """All track, in short straight lines from left to right."""
    for path in plan.paths():
        for a, b in path.chords():
            yield (a, b) if a.x <= b.x else (b, a)


def _heights(chords: Iterable[tuple[Point, Point]], x: float) -> list[float]:
    """How far down lines run at a place from left to right."""
    return sorted(
        {round(a.y + (b.y - a.y) * (x - a.x) / (b.x - a.x), 2) for a, b in chords if a.x < x <= b.x}
    )


def track_boxes(plan: Plan) -> Iterator[Box]:
    """What track takes up, piece by piece."""
    half = LINE_HEIGHT / 2
    for a, b in _chords(plan):
        top, bottom = sorted((a.y, b.y))
        yield Box(a.x, top - half, b.x, bottom + half)


def match_letters() -> Iterator[str]:
    """A, B and so on; after Z come AA, AB and so on, after ZZ AAA."""
    for length in itertools.count(1):
        for letters in itertools.product(string.ascii_uppercase, repeat=length):
            yield "".join(letters)
