"""What a page says of its track plan beside the picture: the key of its symbols, and how a long one
is cut into rows."""

from __future__ import annotations

from bellcrank.document.plain import Data
from bellcrank.picture import Drawing
from bellcrank.picture.key import symbols_used
from bellcrank.picture.wrapping import Match, Row

WIDTHS = (400.0, 520.0, 680.0, 900.0, 1200.0, 1600.0)
"""How wide rows may be, in pixels of the picture: from a phone to a wide screen."""

MOST_LINES = 12
"""A picture of which a cut would go through more lines is better dragged than read in rows."""


def plan_shown(drawing: Drawing) -> Data:
    """symbols: the words of each symbol of the plan, and what draws it, as SVG.

    rows: for each of WIDTHS that the plan does not fit into its width and its rows: of each what
    it shows of the plane, from left and top to right and bottom, and the letters of the lines
    that begin and that end at its cuts, with how far down they run.
    """
    cut = ((width, drawing.picture(width).rows) for width in WIDTHS)
    return {
        "symbols": symbols_used(drawing.layout, drawing.plan, drawing.annotations),
        "rows": [
            [width, [_row(row) for row in rows]]
            for width, rows in cut
            if rows and all(len(row.ends) <= MOST_LINES for row in rows)
        ],
    }


def _row(row: Row) -> list[object]:
    box = row.box
    sides = [round(v, 2) for v in (box.left, box.top, box.right, box.bottom)]
    return [sides, _letters(row.begins), _letters(row.ends)]


def _letters(matches: tuple[Match, ...]) -> list[list[object]]:
    return [[match.letter, match.y] for match in matches]
