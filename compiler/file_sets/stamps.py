"""How a file is, told from how it was."""

from __future__ import annotations

from pathlib import Path

Stamp = tuple[int, int, int] | None
"""By what a file is known to be as it was; None of one that is not there."""


def stamp_of(path: Path) -> Stamp:
    """How a file is now."""
    try:
        state = path.stat()
    except (OSError, ValueError):
        return None
    return state.st_mtime_ns, state.st_size, state.st_ino
