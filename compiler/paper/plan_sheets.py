"""The track plan on paper: on the cover where its letters are large enough there, else on
sheets of its own, cut into strips that lie one under another.

Made from the picture. Lengths are in millimetres; in the picture they are units
of its own, in which letters are TEXT high.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from html import escape

from bellcrank.paper.labels import SHEETS
from bellcrank.picture import Picture
from bellcrank.picture.measures import TEXT
from bellcrank.picture.style import RULES, WHOLE, in_colour

LEAST_LETTER = 2.83
"""Letters on the cover are this high at least: 8 points, read at arm's length."""

LEAST_LETTER_IN_STRIPS = 2.83
LARGEST_LETTER = 3.5

COVER_MARGINS, COVER_HEIGHT = 26.0, 64.0
"""What the cover leaves free at both sides together, and the height it has for a plan."""

WIDE_MARGINS, WIDE_HEAD = (26.0, 31.0), 15.0
"""The same of a sheet that lies on its side, at the sides, and above and below; its head."""

SPARE = 10.0
"""Of the white round the picture, in its units, so much is left away: paper has its own."""

BETWEEN = 5.0
"""From one strip to the next."""

AGAIN = 70.0
"""Units of the picture that stand on two strips, so that no name is only there in halves."""

MOST_SHEETS = 6
"""A plan that would take more is better read from a screen."""


@dataclass(frozen=True, slots=True)
class PlanSheets:
    """The track plan as SVG texts. cover: None if it is too wide for that. sheets: one a
    sheet on its side. too_long: whether it is left out altogether."""

    cover: str | None
    sheets: tuple[str, ...]
    too_long: bool


def plan_sheets(picture: Picture, sheet: str) -> PlanSheets:
    """The track plan on the cover, or on sheets of its own.

    picture: as the extra `plan` has it. sheet: a name in SHEETS.
    """
    if not isinstance(picture, Picture):
        raise ValueError("this is not a picture of a layout: give it the extra `plan`")
    drawn = replace(
        picture,
        left=picture.left + SPARE,
        top=picture.top + SPARE,
        width=picture.width - 2 * SPARE,
        height=picture.height - 2 * SPARE,
    )
    short, long = sorted(SHEETS[sheet])
    scale = min(
        (short - COVER_MARGINS) / drawn.width,
        COVER_HEIGHT / drawn.height,
        LARGEST_LETTER / TEXT,
    )
    if scale * TEXT >= LEAST_LETTER:
        return PlanSheets(_cover(drawn, scale), (), too_long=False)
    made = _strips(drawn, long - WIDE_MARGINS[0], short - WIDE_MARGINS[1] - WIDE_HEAD)
    return PlanSheets(None, tuple(made), too_long=not made)


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
    view = " ".join(_number(n) for n in (drawn.left, drawn.top, drawn.width, drawn.height))
    return "".join(
        (
            _head(view, drawn.width * scale, drawn.height * scale),
            _told(drawn),
            f"<style>\n{_style()}\n</style>\n{drawn.body}\n</svg>",
        )
    )


def _strips(drawn: Picture, width: float, height: float) -> list[str]:
    """The plan in strips on as few sheets as can be, as large as goes there; no sheet at
    all if it would take too many."""
    scale = LEAST_LETTER_IN_STRIPS / TEXT
    a_sheet = int((height + BETWEEN) / (drawn.height * scale + BETWEEN))
    if not a_sheet:
        return []
    sheets = math.ceil(_count(drawn, width, scale) / a_sheet)
    if sheets > MOST_SHEETS:
        return []
    if sheets == 1:
        # On one sheet fewer strips may leave room for larger letters.
        scale = max(
            min(
                width * k / (drawn.width + AGAIN * (k - 1)),
                ((height + BETWEEN) / k - BETWEEN) / drawn.height,
                LARGEST_LETTER / TEXT,
            )
            for k in range(1, a_sheet + 1)
        )
        a_sheet = _count(drawn, width, scale)
    count = _count(drawn, width, scale)
    return [
        _sheet(drawn, range(first, min(first + a_sheet, count)), count, width, scale)
        for first in range(0, count, a_sheet)
    ]


def _count(drawn: Picture, width: float, scale: float) -> int:
    """How many strips there are: each but the first begins with what the last ended with."""
    new = width / scale - AGAIN
    # A hair less, lest rounding asks for one more strip with nothing on it.
    return max(1, math.ceil((drawn.width - AGAIN) / new - 1e-6))


def _sheet(drawn: Picture, numbers: range, count: int, width: float, scale: float) -> str:
    """Strips one under another, of a plan that is written down once."""
    step = width / scale - AGAIN
    high = drawn.height * scale
    own = f"plan-{numbers[0] + 1}"
    parts = []
    for place, number in enumerate(numbers):
        top = place * (high + BETWEEN)
        left = drawn.left + number * step
        wide = min(width / scale, drawn.left + drawn.width - left)
        view = " ".join(_number(n) for n in (left, drawn.top, wide, drawn.height))
        parts.append(
            f'<svg x="0" y="{_number(top)}" width="{_number(wide * scale)}" '
            f'height="{_number(high)}" viewBox="{view}">'
            f'<title>Strip {number + 1} of {count}</title><use href="#{own}"/></svg>'
        )
        for at, there in ((0.0, number > 0), (width, number < count - 1)):
            if there:
                parts.append(
                    f'<path d="M{_number(at)} {_number(top)}v{_number(high)}" fill="none" '
                    'stroke="#111111" stroke-width="0.2" stroke-dasharray="1.2 1.2"/>'
                )
    tall = len(numbers) * (high + BETWEEN) - BETWEEN
    which = "" if count == 1 else f", strips {numbers[0] + 1} to {numbers[-1] + 1} of {count}"
    return "".join(
        (
            _head(f"0 0 {_number(width)} {_number(tall)}", width, tall),
            _told(drawn, which),
            f'<style>\n{_style()}\n</style><defs><g id="{own}">\n{drawn.body}\n</g></defs>',
            *parts,
            "</svg>",
        )
    )


def _head(view: str, width: float, height: float) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="plan" viewBox="{view}" '
        f'width="{_number(width)}mm" height="{_number(height)}mm" role="img">'
    )


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")
