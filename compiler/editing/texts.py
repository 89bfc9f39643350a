"""Texts as an editor counts them, beside places as the compiler counts them.

An editor ends lines at "\\n", "\\r\\n" and "\\r", counts them from 0, and counts columns from 0 in
code units of the encoding that was agreed on (Language Server Protocol 3.17, "Position",
"Text Documents"). The compiler ends lines at "\\n" alone, and counts lines and characters from 1.
What both can be turned into is the offset of a character in the text.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from lsprotocol import types as lsp

from bellcrank.diagnostics import Span

Units = Literal["utf-8", "utf-16", "utf-32"]
"""What an editor counts columns in."""

_LINE_END = re.compile(r"\r\n|\n|\r")


@dataclass(frozen=True)
class Text:
    """A text, and how columns in it are counted."""

    text: str
    units: Units = "utf-16"

    @cached_property
    def _rows(self) -> list[int]:
        """Where each line begins, as an editor has them."""
        return [0, *(end.end() for end in _LINE_END.finditer(self.text))]

    @cached_property
    def _lines(self) -> list[int]:
        """Where each line begins, as the compiler has them."""
        starts = [0, *(end.end() for end in re.finditer("\n", self.text))]
        starts[0] = len(self.text) - len(self.text.removeprefix("\ufeff"))
        return starts

    def position(self, offset: int) -> lsp.Position:
        """Where a character stands, for the editor."""
        row = bisect_right(self._rows, offset) - 1
        before = self.text[self._rows[row] : offset]
        return lsp.Position(row, sum(map(self._size, before)))

    def offset(self, position: lsp.Position) -> int:
        """Which character stands at a place; one that is beyond a line is taken for its end."""
        if position.line >= len(self._rows):
            return len(self.text)
        offset, left = self._rows[position.line], position.character
        while left > 0 and offset < len(self.text) and self.text[offset] not in "\r\n":
            left -= self._size(self.text[offset])
            offset += 1
        return offset

    def range(self, start: int, end: int) -> lsp.Range:
        """A stretch of the text, from one character up to another."""
        return lsp.Range(self.position(start), self.position(end))

    @cached_property
    def whole(self) -> lsp.Range:
        return self.range(0, len(self.text))

    def stretch(self, span: Span) -> tuple[int, int]:
        """The offsets at which a span of the compiler begins and ends."""
        start = self._at(span.line, span.column)
        return start, max(start, self._at(span.end_line, span.end_column))

    def range_of(self, span: Span) -> lsp.Range:
        """A span of the compiler, for the editor."""
        return self.range(*self.stretch(span))

    def place(self, offset: int) -> tuple[int, int]:
        """The compiler's line and column of a character."""
        line = bisect_right(self._lines, offset) or 1
        return line, offset - self._lines[line - 1] + 1

    def changed(self, change: lsp.TextDocumentContentChangeEvent) -> Text:
        """The text after a change of it."""
        if isinstance(change, lsp.TextDocumentContentChangeWholeDocument):
            return Text(change.text, self.units)
        start, end = sorted((self.offset(change.range.start), self.offset(change.range.end)))
        return Text(self.text[:start] + change.text + self.text[end:], self.units)

    def _at(self, line: int, column: int) -> int:
        """The offset of a line and column of the compiler, which may lie beyond the end of the
        line by as much as the sign that is missing there."""
        if line > len(self._lines):
            return len(self.text)
        start = self._lines[line - 1]
        end = len(self.text)
        if line < len(self._lines):
            end = self._lines[line] - 1
            end -= self.text[start:end].endswith("\r")
        return min(start + column - 1, max(start, end))

    def _size(self, sign: str) -> int:
        """Code units of one character."""
        if self.units == "utf-16":
            return 1 + (ord(sign) > 0xFFFF)
        return len(sign.encode("utf-8", "surrogatepass")) if self.units == "utf-8" else 1
