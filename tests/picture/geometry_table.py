"""What the pictures of all layouts measure: `python tests/picture/geometry_table.py`.

For each layout of `drawn_layouts.py`: where lines cross that no fitting joins (and how many of
these places have no bridge, so that they could be taken for a diamond), bends, points whose
straight way is not level, plain pieces with a corner in them that lead straight on, and whether
signals, names or other symbols touch each other or track. Words choose layouts by parts of their
names.

Points are let off the level where they stand on one slant with others, as a ladder of five or
more, and at the apex of a wye, from which both legs lead up and the toe leads down.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass, fields
from math import hypot
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from picture.counting import apexes, bends, bent_pieces, crossings, parting_of, unlevel_points
from picture.drawn_layouts import drawable
from picture.read_back import Drawn, read_picture
from picture.test_picture import assert_legible, assert_whole

from bellcrank.layout.layout_model import Layout
from bellcrank.picture import draw

LADDER = 5
"""Points on one slant that make a ladder."""


@dataclass(frozen=True, slots=True)
class Measured:
    """crossings: of lines that no fitting joins. no_bridge: those without one.
    ladders: points on a slant with others. apexes: of wyes. unlevel: points that are so for no
    such reason.
    bent: pieces. touching: 1 if anything touches what it should not."""

    crossings: int
    no_bridge: int
    bends: int
    ladders: int
    apexes: int
    unlevel: int
    bent: int
    touching: int

    @property
    def faults(self) -> int:
        return self.no_bridge + self.unlevel + self.bent + self.touching


def measured(layout: Layout) -> Measured:
    """What the picture of a layout measures."""
    picture = read_picture(draw(layout))
    return measure(picture, layout)


def measure(picture: Drawn, layout: Layout) -> Measured:
    found = crossings(picture)
    over = [p for p in found if all(hypot(p[0] - x, p[1] - y) > 1 for x, y in picture.bridges)]
    sloping = unlevel_points(picture, layout)
    ladders = in_ladders(picture, layout, sloping)
    return Measured(
        len(found),
        len(over),
        bends(picture, layout),
        len(ladders),
        len(apexes(picture, layout)),
        len(sloping) - len(ladders),
        len(bent_pieces(picture, layout)),
        int(not legible(picture, layout)),
    )


def in_ladders(picture: Drawn, layout: Layout, sloping: list[str]) -> list[str]:
    """Which of some points stand on one slant of 45° with so many that it is a ladder; the first,
    from which it leads, is level itself."""
    at = {name: parting_of(picture, layout, name) for name in sloping}
    slants: Counter[tuple[int, int]] = Counter()
    for x, y in at.values():
        slants.update(((1, round(x - y)), (-1, round(x + y))))
    return [
        name
        for name, (x, y) in at.items()
        if max(slants[1, round(x - y)], slants[-1, round(x + y)]) >= LADDER - 1
    ]


def legible(picture: Drawn, layout: Layout) -> bool:
    try:
        assert_whole(picture, layout)
        assert_legible(picture)
    except AssertionError:
        return False
    return True


def main(chosen: list[str]) -> None:
    heads = ("crossings", "no bridge", "bends", "ladders", "apexes", "unlevel", "bent", "touching")
    print(f"{'':34}" + "".join(f"{head:>11}" for head in heads))
    group, whole, count = "", Counter[str](), 0
    for one in drawable():
        if chosen and not any(part in one.name for part in chosen):
            continue
        if one.group != group:
            group = one.group
            print(group)
        row = measured(one.compiled().layout)
        values = [getattr(row, field.name) for field in fields(row)]
        print(f"  {one.name:32}" + "".join(f"{value:11}" for value in values), flush=True)
        whole.update({field.name: getattr(row, field.name) for field in fields(row)})
        count += 1
    print(f"{f'all {count}':34}" + "".join(f"{whole[f.name]:11}" for f in fields(Measured)))


if __name__ == "__main__":
    main(sys.argv[1:])
