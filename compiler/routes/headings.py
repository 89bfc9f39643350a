"""What heads the columns of a control table, in the terminal, on paper, in the browser and in a
spreadsheet: one word for one thing. A medium may leave columns out, and keeps this order."""

from __future__ import annotations

from typing import Literal, get_args

Heading = Literal[
    "route",
    "from",
    "to",
    "ends at",
    "calling on",
    "aspect",
    "drives",
    "sections clear",
    "overlap",
    "overlap drives",
    "flank",
    "conflicting routes",
    "release",
]

HEADINGS: tuple[Heading, ...] = get_args(Heading)
