"""A rule of how pictures look, in the notation of CSS."""

from __future__ import annotations

from typing import NamedTuple


class Rule(NamedTuple):
    """A rule of CSS: what it is about, and what it says of that."""

    selectors: tuple[str, ...]
    said: str

    def __str__(self) -> str:
        return f"{', '.join(self.selectors)} {{ {self.said} }}"
