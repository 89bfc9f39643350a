"""Questions at the terminal, and what is typed in answer."""

from __future__ import annotations

import sys


def typed(question: str) -> str | None:
    """A line that is typed in answer to a question; None if none comes any more."""
    sys.stdout.flush()
    try:
        return input(f"{question} ").strip()
    except (EOFError, RuntimeError):  # there is no input, or none any more
        print()
        return None


def yes_or_no(question: str) -> bool:
    """Whether a question is answered by yes. No answer is none."""
    while True:
        said = typed(f"{question} yes or no:")
        if said is None:
            return False
        match said.casefold():
            case "yes" | "y":
                return True
            case "no" | "n":
                return False
