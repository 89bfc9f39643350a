"""The same track drawn by dot, a general-purpose program for layered drawings of graphs.

`python tests/picture/beside_dot.py` prints the crossings and bends of each kind of layout as
drawn here and as dot draws it. Fittings and ends of track are nodes, the track between two is
an edge; dot draws from left to right, its edges as polylines (Gansner, Koutsofios, North, Vo,
"A technique for drawing directed graphs", 1993). Needs Debian's graphviz.
"""

from __future__ import annotations

import itertools
import json
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parent.parent))

from picture.counting import angle, bends, cross, crossings, on_a_straight_line, straight_way
from picture.read_back import Dot, Drawn, read_picture

from bellcrank.layout.layout_model import Edge, Layout, Leg, Stop


class Count(NamedTuple):
    """What lines of a drawing do. aslant: how many come to the end of track at a slant: in
    a plan each would bend once more, to come level."""

    crossings: int
    bends: int
    aslant: int = 0

    def __add__(self, other: object) -> Count:
        assert isinstance(other, Count)
        return Count(*(a + b for a, b in zip(self, other, strict=True)))


def tracks_of(layout: Layout) -> list[tuple[Leg | str, Leg | str]]:
    """The track between fittings and ends, as pairs of what it joins: a leg, or the name of an
    end; leading rightwards where the text reads it so."""
    found: list[tuple[Leg | str, Leg | str]] = []
    done: set[object] = set()
    for name, element in layout.elements.items():
        if element.plain:
            continue
        for leg in element.kind.legs:
            start = Leg(name, leg)
            if start in done:
                continue
            end = layout.joined[start]
            while isinstance(end, Leg) and layout.elements[end.element].plain:
                end = layout.joined[Leg(end.element, "left" if end.leg == "right" else "right")]
            done |= {start, end}
            far = end if isinstance(end, Leg) else _end(end, start)
            rightwards = layout.reads.get(start, "left") == "right"
            found.append((start, far) if rightwards else (far, start))
    return found


def _end(end: Edge | Stop, start: Leg) -> str:
    return end.name if isinstance(end, Edge) else f"stop-{start}"


def by_dot(layout: Layout) -> Count:
    """Crossings and bends in dot's drawing: bends of its edges, and straight ways of points
    that turn."""
    tracks = tracks_of(layout)
    names = [tuple(e.element if isinstance(e, Leg) else e for e in pair) for pair in tracks]
    text = "".join(f'"{a}" -> "{b}" [comment="{k}"];\n' for k, (a, b) in enumerate(names))
    asked = f"digraph {{ rankdir=LR; splines=polyline; node [shape=point];\n{text}}}\n"
    said = subprocess.run(
        ["dot", "-Tjson"], input=asked, capture_output=True, text=True, check=True, timeout=60
    ).stdout
    lines: dict[int, list[Dot]] = {}
    for edge in json.loads(said).get("edges", ()):
        places = edge["pos"].removeprefix("e,").split(" ")
        tip, *dots = (tuple(map(float, place.split(","))) for place in places)
        # Straight pieces as curves: every third control point is a corner; then the tip.
        lines[int(edge["comment"])] = [*dots[::3], tip]
    count = 0
    for one, other in itertools.combinations(lines.values(), 2):
        count += sum(
            cross(*a, *b) is not None
            for a in itertools.pairwise(one)
            for b in itertools.pairwise(other)
        )
    turned = sum(_turns(line) for line in lines.values())
    aslant = 0
    for k, pair in enumerate(tracks):
        for end, (a, b) in zip(pair, (lines[k][:2], lines[k][-2:]), strict=True):
            aslant += isinstance(end, str) and not _level(a, b)
    return Count(count, turned + _turned_points(layout, tracks, lines), aslant)


def ends_aslant(picture: Drawn, layout: Layout) -> int:
    """The same of a picture: at how many stops and edges track is not level."""
    found = 0
    for leg, beyond in layout.joined.items():
        if not isinstance(beyond, Leg):
            for *legs, _, line in picture.elements[leg.element]:
                if leg.leg in legs:
                    first = legs[0] == leg.leg
                    found += not _level(*(line[:2] if first else line[-2:]))
    return found


def _level(a: Dot, b: Dot) -> bool:
    return abs(b[1] - a[1]) <= TURNED * abs(b[0] - a[0])


def _turned_points(
    layout: Layout, tracks: list[tuple[Leg | str, Leg | str]], lines: dict[int, list[Dot]]
) -> int:
    """Points at which the edges of the straight way do not follow each other in line."""
    beside: dict[object, tuple[Dot, Dot]] = {}
    for k, (one, other) in enumerate(tracks):
        beside[one] = (lines[k][1], lines[k][0])
        beside[other] = (lines[k][-2], lines[k][-1])
    found = 0
    for name, element in layout.elements.items():
        way = straight_way(element)
        if way is not None and on_a_straight_line(layout, name):
            (a, b), (c, _) = (beside[Leg(name, leg)] for leg in way)
            found += angle(a, b, c) > TURNED
    return found


def _turns(line: list[Dot]) -> int:
    return sum(
        angle(a, b, c) > TURNED
        for a, b, c in zip(line, line[1:], line[2:], strict=False)
        if a != b != c
    )


TURNED = 0.05
"""Radians; less than that is taken to be in line."""


if __name__ == "__main__":
    from picture.kinds_of_layout import KINDS
    from sound_layouts import compiled

    from bellcrank.picture import draw

    print(f"{'':36}crossings       bends      at a slant\n{'':36}{'here   dot  ' * 3}")
    for name, kind in KINDS.items():
        layout = compiled(kind).layout
        picture = read_picture(draw(layout))
        other = by_dot(layout)
        aslant = ends_aslant(picture, layout)
        here = Count(len(crossings(picture)), bends(picture, layout), aslant)
        print(f"{name:34}", *(f"{a:5}{b:6}" for a, b in zip(here, other, strict=True)))
