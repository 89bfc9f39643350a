"""The track plan on paper: on the cover where its letters are large enough there, else on
sheets of its own, in rows that lie one under another and are cut as in a picture of that width.

Lengths are in millimetres; in the picture they are units of its own, in which letters are
TEXT high.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape

from bellcrank.paper.labels import SHEETS
from bellcrank.picture import Drawing, Picture
from bellcrank.picture.geometry import Box
from bellcrank.picture.measures import TEXT
from bellcrank.picture.style import RULES, WHOLE, in_colour
from bellcrank.picture.svg import in_rows
from bellcrank.picture.wrapping import Row

LEAST_LETTER = 2.83
"""Letters are this high at least: 8 points, read at arm's length."""

LETTERS = (3.5, 3.3, 3.1, 2.95, LEAST_LETTER)
"""How high they are in rows: as high as lets these stand on one sheet."""

COVER_MARGINS, COVER_HEIGHT = 26.0, 64.0
"""What the cover leaves free at both sides together, and the height it has for the track of a
plan; its key stands below that."""

WIDE_MARGINS, WIDE_HEAD = (26.0, 31.0), 15.0
"""The same of a sheet that lies on its side, at the sides, and above and below; its head."""

SPARE = 10.0
"""Of the white round the picture, in its units, so much is left away: paper has its own."""

MOST_SHEETS = 6
"""A plan that would take more is better read from a screen."""


@dataclass(frozen=True, slots=True)
class PlanSheets:
    """The track plan as SVG texts. cover: None if it is too wide for that. sheets: one a
    sheet on its side. too_long: whether it is left out altogether."""

    cover: str | None
    sheets: tuple[str, ...]
    too_long: bool


def plan_sheets(drawing: Drawing, sheet: str) -> PlanSheets:
    """The track plan on the cover, or on sheets of its own.

    drawing: as the extra `plan` has it. sheet: a name in SHEETS.
    """
    if not isinstance(drawing, Drawing):
        raise ValueError("this is not a plan of a layout: give it the extra `plan`")
    short, long = sorted(SHEETS[sheet])
    whole = drawing.picture()
    scale = min(
        (short - COVER_MARGINS) / (whole.width - 2 * SPARE),
        COVER_HEIGHT / _high(whole.track.grown(-SPARE)),
        LETTERS[0] / TEXT,
    )
    if scale * TEXT >= LEAST_LETTER:
        return PlanSheets(_cover(whole, scale), (), too_long=False)
    made = _sheets(drawing, long - WIDE_MARGINS[0], short - WIDE_MARGINS[1] - WIDE_HEAD)
    return PlanSheets(None, made, too_long=not made)


def _sheets(drawing: Drawing, width: float, height: float) -> tuple[str, ...]:
    """The plan on as few sheets as can be, as large as goes there; no sheet at all if it would
    take too many."""
    for letter in LETTERS:
        scale = letter / TEXT
        drawn = drawing.picture(width / scale)
        rows = drawn.rows or tuple(_one_row(drawn))
        packed = _packed(rows, height / scale + 2 * SPARE)
        if len(packed) == 1:
            break
    if not 0 < len(packed) <= MOST_SHEETS:
        return ()
    return tuple(_sheet(drawn, number, packed, scale) for number in range(len(packed)))


def _one_row(drawn: Picture) -> Iterator[Row]:
    """A plan that is not too wide, and its key, each by itself."""
    track, box = drawn.track, drawn.box
    yield Row(Box(box.left, box.top, box.right, track.bottom))
    if box.bottom > track.bottom:
        yield Row(Box(box.left, track.bottom, box.right, box.bottom))


def _high(box: Box) -> float:
    return box.bottom - box.top


def _packed(rows: Sequence[Row], height: float) -> list[list[Row]]:
    """The rows of each sheet; none at all if one is too high for a sheet."""
    packed: list[list[Row]] = []
    left = 0.0
    for row in rows:
        high = _high(row.box)
        if high > height:
            return []
        if high > left:
            packed.append([])
            left = height
        packed[-1].append(row)
        left -= high
    return packed


def _style() -> str:
    """The rules with colours in place of their names, which not all that prints can look up,
    each for the plan alone: words such as `stop` are classes elsewhere on the page too."""
    (plan,) = WHOLE.selectors
    rules = []
    for rule in map(in_colour, RULES):
        own = rule.selectors
        if own != WHOLE.selectors:
            own = tuple(f"{plan} {selector}" for selector in own)
        rules.append(f"{', '.join(own)} {{ {' '.join(rule.said.split())} }}")
    return "\n".join(rules)


def _told(drawn: Picture, which: str = "") -> str:
    return f"<title>{escape(drawn.title)}{which}</title><desc>{escape(drawn.description)}</desc>"


def _cover(drawn: Picture, scale: float) -> str:
    box = drawn.box.grown(-SPARE)
    width, height = box.right - box.left, box.bottom - box.top
    view = " ".join(_number(n) for n in (box.left, box.top, width, height))
    return "".join(
        (
            _head(view, width * scale, height * scale),
            _told(drawn),
            f"<style>\n{_style()}\n</style>\n{drawn.body}\n</svg>",
        )
    )


def _sheet(drawn: Picture, number: int, packed: Sequence[Sequence[Row]], scale: float) -> str:
    """One sheet of rows."""
    body, wide, high = in_rows(drawn.body, packed[number], f"plan-{number + 1}")
    high -= 2 * SPARE
    which = "" if len(packed) == 1 else f", sheet {number + 1} of {len(packed)}"
    return "".join(
        (
            _head(
                f"0 {_number(SPARE)} {_number(wide)} {_number(high)}", wide * scale, high * scale
            ),
            _told(drawn, which),
            f"<style>\n{_style()}\n</style>\n{body}\n</svg>",
        )
    )


def _head(view: str, width: float, height: float) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="plan" viewBox="{view}" '
        f'width="{_number(width)}mm" height="{_number(height)}mm" role="img">'
    )


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")
