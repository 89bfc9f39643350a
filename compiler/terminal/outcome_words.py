"""What became of a proof, in a few words: whether trains may meet, or only a wish is not met."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:  # templates use these words, and need no compiler for them
    from bellcrank.compilation import Checked, Status

_TO_PEOPLE: dict[Status, str] = {"unmet": "safe, but not as expected"}
"""What is said in place of a status that does not explain itself."""

STATUS: dict[Status, tuple[str, str]] = {
    "proved": ("proved", "green"),
    "unmet": ("unmet: safe, but an expectation is not met", "bold yellow"),
    "UNPROVED": ("UNPROVED: trains may meet", "bold red"),
    "no routes": ("no routes: nothing is locked, trains may meet", "bold yellow"),
}
"""What the status of a layout says to whoever is about to work by it, and its colour."""


def status_words(status: Status) -> str:
    """A status as it stands on what people look at."""
    return _TO_PEOPLE.get(status, status)


def outcome_words(c: Checked) -> str:
    """The outcome, with what is to be known beside it."""
    return f"unmet ({unmet_words(c)}, but it is safe)" if c.outcome == "unmet" else c.outcome


def unmet_words(c: Checked) -> str:
    """How many expectations are not met, as a sentence without its full stop."""
    number = len(c.unmet)
    return "an expectation is not met" if number == 1 else f"{number} expectations are not met"
