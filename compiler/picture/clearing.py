"""Where track gets in the way of signals."""

from __future__ import annotations

from collections import defaultdict

from bellcrank.layout.layout_model import Edge, Layout, Leg
from bellcrank.picture.drawn import Plan
from bellcrank.picture.geometry import Box, Point, around, cells


def cramped_signals(layout: Layout, made: Plan) -> set[Leg | Edge]:
    """The places of signals that would stand on other track or on other symbols."""
    track: dict[tuple[int, int], list[tuple[Point, Point]]] = defaultdict(list)
    for path in made.paths():
        for a, b in path.chords():
            for cell in cells(around((a, b)).grown(1)):
                track[cell].append((a, b))
    cramped: set[Leg | Edge] = set()
    standing: dict[tuple[int, int], list[Box]] = defaultdict(list)
    for name, signal in made.signals.items():
        corners = (signal.place(along, aside) for along in (-31.0, -1.0) for aside in (4.0, 15.5))
        box = around(corners)
        near = {segment for cell in cells(box) for segment in track.get(cell, ())}
        if any(box.grown(0.5).cut_by(a, b) for a, b in near):
            cramped.add(layout.signals[name].before)
        if any(box.meets(other) for cell in cells(box) for other in standing[cell]):
            cramped.add(layout.signals[name].before)
        for cell in cells(box):
            standing[cell].append(box)
        for element in made.elements.values():
            if any(abs(d.x - signal.point.x) < 60 and
                   box.grown(5).meets(Box(d.x, d.y, d.x, d.y).grown(0.1))
                   for _, d in element.drives):  # fmt: skip
                cramped.add(layout.signals[name].before)
    return cramped
