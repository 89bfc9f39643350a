"""Puts lines and words into a source text and leaves everything else as it stands.

Unlike `format`, which writes a whole file anew, nothing but what is put in
changes: comments, blank lines, indents and line ends stay byte for byte.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from bellcrank.diagnostics import Span
from bellcrank.syntax.chunks import TEXT_OR_COMMENT

_INDENT = "  "

_WIDTH = 90
"""A list goes on on another line rather than grow longer."""


@dataclass(frozen=True, slots=True)
class Edit:
    """What goes in the place of a stretch of a text, which may be empty."""

    start: int
    end: int
    text: str


def edited(text: str, edits: Iterable[Edit]) -> str:
    """A text with edits made that do not overlap."""
    for edit in sorted(edits, key=lambda e: e.start, reverse=True):
        text = text[: edit.start] + edit.text + text[edit.end :]
    return text


def word_for(text: str, span: Span, old: str, new: str) -> Edit:
    """The edit that puts a word for the old one that ends a span.

    Raises ValueError if the span does not end in that word.
    """
    end = _offset(text, span.end_line, span.end_column)
    if text[end - len(old) : end] != old:
        raise ValueError(f"{span} does not end in {old!r}")
    return Edit(end - len(old), end, new)


def words_for(text: str, span: Span, new: str) -> Edit:
    """The edit that puts words for all that stands in a span."""
    start = _offset(text, span.line, span.column)
    return Edit(start, _offset(text, span.end_line, span.end_column), new)


def lines_before(text: str, span: Span, lines: Iterable[str]) -> Edit:
    """The edit that puts lines before the first one of a span."""
    start = _offset(text, span.line, 1)
    newline = "\r\n" if text.split("\n", 1)[0].endswith("\r") else "\n"
    return Edit(start, start, "".join(line + newline for line in lines))


def list_for(text: str, span: Span, more: Iterable[str]) -> Edit:
    """The edit that lets the list that ends a statement go on with more, on further lines
    where one would grow too long."""
    end = _offset(text, span.end_line, span.end_column)
    rows = text.split("\n")
    newline = "\r\n" if rows[0].endswith("\r") else "\n"
    indent = _indent(rows[span.line - 1]) + _INDENT
    new, column = "", span.end_column
    for item in more:
        if column + len(f", {item}") > _WIDTH:
            new, column = f"{new},{newline}{indent}{item}", len(indent + item)
        else:
            new, column = f"{new}, {item}", column + len(f", {item}")
    return Edit(end, end, new)


def word_to(text: str, span: Span, word: str) -> Edit:
    """The edit that puts a word at the end of a statement."""
    end = _offset(text, span.end_line, span.end_column)
    return Edit(end, end, f"{_INDENT}{word}")


def word_out(text: str, span: Span, word: str) -> Edit:
    """The edit that takes the last such word out of a statement, and the blanks before it.

    Comments are passed over, and so is a name such as `crossed.1`. Raises ValueError if
    there is no such word.
    """
    start = _offset(text, span.line, span.column)
    end = _offset(text, span.end_line, span.end_column)
    code = TEXT_OR_COMMENT.sub(lambda m: " " * len(m.group()), text[start:end])
    found = list(re.finditer(rf"[ \t]*\b{re.escape(word)}\b(?!\s*\.)", code))
    if not found:
        raise ValueError(f"{span} holds no {word!r}")
    return Edit(start + found[-1].start(), start + found[-1].end(), "")


def lines_at_end(text: str, block: Span, first: int, lines: Sequence[str], head: str) -> Edit:
    """The edit that puts lines into a block in braces, before the brace that ends it.

    block: from the block's first word to its last brace.
    first: the line of the first thing in it, or 0 if it holds nothing.
    head: a comment to put above the lines, unless such lines end the block already.
    """
    brace = _offset(text, block.end_line, block.end_column) - 1
    rows = text.split("\n")
    newline = "\r\n" if rows[0].endswith("\r") else "\n"
    outer = _indent(rows[block.line - 1])
    indent = _indent(rows[first - 1]) if first > block.line else outer + _INDENT
    start = _offset(text, block.end_line, 1)
    if text[start:brace].strip() or block.line == block.end_line:
        # The brace stands behind something, and gets a line of its own.
        new = "".join(f"{newline}{indent}{line}" for line in (head, *lines))
        return Edit(brace, brace, new + newline + outer)
    if _last_remark(rows[block.line : block.end_line - 1]) != head:
        lines = (head, *lines)
    return Edit(start, start, "".join(f"{indent}{line}{newline}" for line in lines))


def _last_remark(rows: Sequence[str]) -> str:
    """The comment above the last lines, if it belongs to them: no blank line comes after."""
    for row in reversed(rows):
        if not row.strip() or row.lstrip().startswith("#"):
            return row.strip()
    return ""


def _offset(text: str, line: int, column: int) -> int:
    """The place in a text of a line and column, both from 1."""
    start = 0
    for _ in range(line - 1):
        start = text.index("\n", start) + 1
    return start + column - 1


def _indent(row: str) -> str:
    return row[: len(row) - len(row.lstrip())]
