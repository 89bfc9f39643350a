"""Text for the terminal that grows line by line and wraps to a width."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass, field

from rich.cells import cell_len
from rich.text import Text

WIDTH = 100
"""Columns, where nobody asks for fewer."""


@dataclass
class Sheet:
    """Text that grows line by line and wraps to a width."""

    width: int
    text: Text = field(default_factory=Text)

    def line(self, words: str, style: str = "") -> None:
        self.row("", words, style, head_width=0)

    def exactly(self, words: str) -> None:
        """A line whose spaces are kept, as in a drawing; it is not wrapped."""
        self.text.append("\n" + words if self.text else words)

    def row(self, head: str, body: str, style: str = "", head_width: int = 10) -> None:
        """A head, which takes the style, and a body that wraps beside it."""
        room = max(20, self.width - head_width)
        lines = textwrap.wrap(body, room, break_on_hyphens=False) or [""]
        if self.text:
            self.text.append("\n")
        self.text.append(head + " " * (head_width - cell_len(head)), style)
        self.text.append(("\n" + " " * head_width).join(lines), style if not head_width else "")


def count(number: int, noun: str, nouns: str = "") -> str:
    """A number with its noun, in the plural but for one."""
    return f"{number:,} {noun if number == 1 else nouns or noun + 's'}"
