"""Where names stand: beside what they name, over no line, symbol or other name.

Point-feature label placement with a fixed list of candidates, greedily with eviction.
Each name has places to choose from, the most wanted first. Names with the fewest places
left choose first; a name that finds none makes those in its way look for others, once
each. Type is of fixed width, so that no font is needed to know how long a name is.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

from bellcrank.picture.geometry import CELL, Box, Point, cells
from bellcrank.picture.measures import CHARACTER, LINE_HEIGHT, text_width
from bellcrank.picture.overlays import NoteKind

NameKind = Literal["piece", "fitting", "signal", "edge"]

WrittenKind = Literal["platform", "remark"]
"""What is written in the picture besides names: labels of platforms, and notes."""

WRITTEN: tuple[WrittenKind, ...] = get_args(WrittenKind)

APART = 7.0
"""How far apart two names beside each other are, so as not to be read as one."""


@dataclass(frozen=True, slots=True)
class Wish:
    """A name to be placed.

    of: what it names, or what it is a note on. kind: of what sort that is. places: the
    middles of the boxes in which it may stand, the best first. own: how many of these are
    clearly its own; those after them might be read with something else. All are if it is
    not said. framed: whether it has a frame of its own and needs room for that.
    beneath: lines that stand below the name and move with it.
    """

    of: str
    text: str
    kind: NameKind | WrittenKind | NoteKind
    places: tuple[Point, ...]
    own: int | None = None
    framed: bool = False
    beneath: tuple[str, ...] = ()

    def box(self, place: Point) -> Box:
        width = max(map(text_width, (self.text, *self.beneath)))
        width += 2 * CHARACTER if self.framed else 0.0
        height = LINE_HEIGHT * (1 + len(self.beneath))
        return Box(
            place.x - width / 2, place.y - height / 2, place.x + width / 2, place.y + height / 2
        )


class Ground:
    """What no name may cover: boxes and segments, by cells of a grid."""

    def __init__(self) -> None:
        self.boxes: dict[tuple[int, int], list[Box]] = defaultdict(list)
        self.segments: dict[tuple[int, int], list[tuple[Point, Point]]] = defaultdict(list)

    def add_box(self, box: Box) -> None:
        for cell in cells(box):
            self.boxes[cell].append(box)

    def add_segment(self, a: Point, b: Point) -> None:
        """A line; long ones are entered in pieces, so that slants fill few cells."""
        steps = max(1, int(max(abs(a.x - b.x), abs(a.y - b.y)) // CELL))
        for k in range(steps):
            one = Point(a.x + (b.x - a.x) * k / steps, a.y + (b.y - a.y) * k / steps)
            two = Point(a.x + (b.x - a.x) * (k + 1) / steps, a.y + (b.y - a.y) * (k + 1) / steps)
            left, right = sorted((one.x, two.x))
            top, bottom = sorted((one.y, two.y))
            for cell in cells(Box(left, top, right, bottom)):
                self.segments[cell].append((one, two))

    def free(self, box: Box, margin: float) -> bool:
        wide = box.grown(margin)
        for cell in cells(wide):
            if any(wide.meets(other) for other in self.boxes.get(cell, ())):
                return False
            if any(wide.cut_by(a, b) for a, b in self.segments.get(cell, ())):
                return False
        return True


def place_names(wishes: Iterable[Wish], ground: Ground) -> tuple[dict[int, Point], list[int]]:
    """A place for each wish, by its number, and the numbers of those that found none."""
    listed = list(wishes)
    open_places = [
        [place for place in wish.places if ground.free(wish.box(place), 2.0)] for wish in listed
    ]
    taken: dict[tuple[int, int], set[int]] = defaultdict(set)
    placed: dict[int, Point] = {}

    def in_the_way(number: int, place: Point) -> set[int]:
        box = listed[number].box(place)
        box = Box(box.left - APART, box.top - 1.0, box.right + APART, box.bottom + 1.0)
        near = {other for cell in cells(box) for other in taken.get(cell, ())}
        return {n for n in near if n != number and box.meets(listed[n].box(placed[n]))}

    def put(number: int, place: Point) -> None:
        placed[number] = place
        for cell in cells(listed[number].box(place)):
            taken[cell].add(number)

    def lift(number: int) -> None:
        for cell in cells(listed[number].box(placed.pop(number))):
            taken[cell].discard(number)

    lost: list[int] = []

    def turn(number: int) -> tuple[bool, int, int]:
        """Who has no place that is clearly its own takes what others leave."""
        wish = listed[number]
        own = set(wish.places[: wish.own])
        homeless = not any(place in own for place in open_places[number])
        return homeless, len(open_places[number]), number

    for number in sorted(range(len(listed)), key=turn):
        for place in open_places[number]:
            if not in_the_way(number, place):
                put(number, place)
                break
        else:
            lost.append(number)
    tries = dict.fromkeys(range(len(listed)), 0)
    still: list[int] = []
    while lost:
        number = lost.pop(0)
        tries[number] += 1
        if not open_places[number] or tries[number] > 6:
            still.append(number)
            continue
        ranked = sorted(
            open_places[number],
            key=lambda p: (sum(1 + tries[n] for n in in_the_way(number, p)), p),
        )
        place = ranked[0]
        moved = sorted(in_the_way(number, place))
        for other in moved:
            lift(other)
        put(number, place)
        for other in moved:
            for elsewhere in open_places[other]:
                if not in_the_way(other, elsewhere):
                    put(other, elsewhere)
                    break
            else:
                lost.append(other)
    return placed, still
