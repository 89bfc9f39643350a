"""Sizes in the picture, in pixels, and how wide a text is."""

from __future__ import annotations

import unicodedata

UNIT = 22.0
"""The grid: half the distance of two lines, and the step in which slants climb."""

ROW = 2
"""The distance of two lines in grid units."""

STUB = 16.0
"""What a fitting has at least of the track beyond each leg."""

SIGNAL_ROOM = 34.0
"""Length along the track that a signal takes up."""

EDGE_MARK = 13.0
"""From the end of the line to the name of an edge, with the mark between them."""

PIECE = 30.0
"""Shortest piece of plain track."""

TEXT = 11.0
"""Height of the letters of names."""

LINE_HEIGHT = 13.0
"""Height of the room for a name."""

CHARACTER = 6.75
"""Width of a character of the fixed-width type, 0.602 em in DejaVu Sans Mono and about
0.6 em in others (from memory), with a little to spare."""


def text_width(text: str, size: float = TEXT) -> float:
    """How much room a text needs at most; signs of East Asian scripts count twice."""
    cells = sum(2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)
    return cells * CHARACTER * size / TEXT
