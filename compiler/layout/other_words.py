"""Words of the trade that are not those of the language, and what is said here instead.

All are common practice: turnout and switch in some countries, normal and reverse in signal
boxes.
"""

from __future__ import annotations

from collections.abc import Collection

KINDS = {
    "turnout": "points",
    "turnouts": "points",
    "switch": "points",
    "switches": "points",
    "diamond": "fixed diamond",
    "crossing": "fixed diamond",
    "diamond crossing": "fixed diamond",
}
"""Kinds of fitting."""

POSITIONS = {
    "normal": "straight",
    "main": "straight",
    "closed": "straight",
    "reverse": "diverging",
    "branch": "diverging",
    "thrown": "diverging",
    "turn": "diverging",
    "turnout": "diverging",
}
"""Positions of drives, and the legs that they lead to."""

ENDS = frozenset({"end", "buffer", "buffers", "bufferstop", "buffer_stop", "bumper", "dead_end"})
"""What a buffer stop is called elsewhere; here it is `stop`."""


def renamed(word: str, known: Collection[str]) -> str | None:
    """A hint that tells what a word is called here; None for a word that is not known, or where
    nothing is called so."""
    here = POSITIONS.get(word.casefold())
    return f"here it is called `{here}`" if here in known else None
