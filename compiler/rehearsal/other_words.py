"""Words that people try in a rehearsal, and the lines that do what they want."""

from __future__ import annotations

from collections.abc import Sequence

_THE_REST = {
    "set": "request",
    "route": "request",
    "ask": "request",
    "release": "cancel",
    "unset": "cancel",
    "reset": "cancel",
}
"""First words, and what to begin with instead."""

_THROWN = "drives are thrown with a route, by `request ROUTE`"


def in_other_words(words: Sequence[str]) -> str | None:
    """A hint for a line that begins with a word of no line; None where none would be right."""
    first, *rest = words
    if len(words) > 2 and words[1] == "to":
        return f"write `request {' '.join(words)}`"
    if first in ("throw", "switch", "turn"):
        if len(rest) == 2:
            return f"{_THROWN}; where they lie at the start, by `at first {rest[0]} lies {rest[1]}`"
        return _THROWN
    if first == "clear" and rest:
        return "a signal clears by itself: `request` its route, and `wait`"
    if first in ("drive", "move"):
        return "write `go on`, and trains go as far as they can"
    if first in _THE_REST and rest:
        return f"write `{_THE_REST[first]} {' '.join(rest)}`"
    return None
