"""The marks of an overlay, written as SVG: rings, arrows, notes and lines of text."""

from __future__ import annotations

import itertools
import textwrap
from collections.abc import Iterator, Sequence
from html import escape
from math import cos, pi, sin

from bellcrank.picture.drawn import DrawnElement, Plan
from bellcrank.picture.geometry import Box, Path, Point
from bellcrank.picture.measures import CHARACTER, LINE_HEIGHT, TEXT
from bellcrank.picture.name_places import Wish
from bellcrank.picture.overlays import Arrow, Note, Overlay
from bellcrank.picture.svg_notation import number, pair

RING = 17.0
"""Radius of the ring round a place where something meets."""


INDENT = 3
"""Characters by which a line of text that goes on begins further in."""


def ring_sides(middle: Point) -> Iterator[tuple[Point, Point]]:
    """Chords of a ring, for names to keep clear of."""
    dots = [
        Point(middle.x + RING * cos(k * pi / 8), middle.y + RING * sin(k * pi / 8))
        for k in range(17)
    ]
    yield from itertools.pairwise(dots)


def note_wish(plan: Plan, note: Note) -> Wish:
    """Where a note may stand: as near as can be to what it is about."""
    if note.of in plan.elements:
        drawn = plan.elements[note.of]
        middle = drawn.middle
    elif note.of in plan.signals:
        middle = plan.signals[note.of].place(-15.0, 10.0)
    else:
        middle = next(e.point for e in plan.ends if getattr(e.end, "name", "") == note.of)
    half = len(note.text) * CHARACTER / 2
    places = []
    for far in (17.0, 22.0, 29.0, 37.0, 46.0, 58.0, 75.0, 96.0, 120.0, 150.0, 190.0):
        for x in (0.0, 0.3, -0.3, 0.6, -0.6, 1.0, -1.0):
            for y in (1, -1):
                places.append(Point(middle.x + x * (half + far / 2), middle.y + y * far))
        for side in (1, -1):
            places.append(Point(middle.x + side * (half + far), middle.y))
    return Wish(note.of, note.text, note.kind, tuple(places), framed=note.kind == "step")


def rings(plan: Plan, overlay: Overlay) -> Iterator[str]:
    for name in overlay.rings:
        middle = plan.elements[name].middle
        for radius in (RING, RING - 4):
            yield (
                f'<circle class="ring" data-at="{escape(name)}" cx="{number(middle.x)}" '
                f'cy="{number(middle.y)}" r="{number(radius)}"/>'
            )


def arrows(plan: Plan, overlay: Overlay) -> Iterator[str]:
    """A head on each piece that trains run over; two on one piece keep apart."""
    shared = {a.element for a in overlay.arrows if a.second} & {
        a.element for a in overlay.arrows if not a.second
    }
    for arrow in overlay.arrows:
        path = _way_of(plan.elements[arrow.element], arrow)
        share = 0.5
        if arrow.element in shared:
            share = (
                0.36 if arrow.second == (path.segments[0].start < path.segments[-1].end) else 0.64
            )
        point, d = path.at(path.length * share)
        across = Point(-d.y, d.x)
        tip, foot = point.moved(d, 5.0), point.moved(d, -5.0)
        wings = foot.moved(across, 4.8), foot.moved(across, -4.8)
        words = "arrow second" if arrow.second else "arrow"
        data = f"M{pair(wings[0])}L{pair(tip)}L{pair(wings[1])}Z"
        yield f'<path class="{words}" data-on="{escape(arrow.element)}" d="{data}"/>'


def _way_of(drawn: DrawnElement, arrow: Arrow) -> Path:
    for way in drawn.ways:
        if set(way.legs) == {arrow.entry, arrow.exit}:
            path = way.parts[0] if way.legs[0] == arrow.entry else way.parts[-1]
            return path if way.legs[0] == arrow.entry else path.back()
    raise KeyError(arrow)


def note(wish: Wish, place: Point) -> str:
    box = wish.box(place)
    pill = ""
    if wish.framed:
        pill = (
            f'<rect class="pill" x="{number(box.left)}" y="{number(box.top)}" rx="6" '
            f'width="{number(box.right - box.left)}" height="{number(LINE_HEIGHT)}"/>'
        )
    return (
        f'{pill}<text class="note {wish.kind}" data-of="{escape(wish.of)}" x="{number(place.x)}" '
        f'y="{number(place.y + TEXT * 0.35)}">{escape(wish.text)}</text>'
    )


def legend(lines: Sequence[str], box: Box, most: float | None = None) -> tuple[list[str], Box]:
    """The lines of text below the picture, and the picture's box with them.

    most: how wide they may be, if the picture is shown in rows.
    """
    width = max(box.right - box.left, 420.0) if most is None else most - 2 * INDENT * CHARACTER
    columns = int(width / CHARACTER)
    wrapped = [
        (part.strip(), INDENT if number else 0)
        for line in lines
        for number, part in enumerate(textwrap.wrap(line, columns, subsequent_indent=" " * INDENT))
    ]
    if not wrapped:
        return [], box
    top = box.bottom + 20.0
    words = []
    for k, (line, indent) in enumerate(wrapped):
        y = top + (k + 0.8) * (LINE_HEIGHT + 2)
        words.append(
            f'<text class="legend" x="{number(box.left + indent * CHARACTER)}" '
            f'y="{number(y)}">{escape(line)}</text>'
        )
    bottom = top + len(wrapped) * (LINE_HEIGHT + 2)
    return words, Box(box.left, box.top, max(box.right, box.left + width), bottom)
