"""Cutting a source into its statements without parsing it.

Used after a syntax error, so that one bad line does not hide the next: each
chunk is the text of one statement, a block in braces included.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

TEXT_OR_COMMENT = re.compile(r'"[^"\n]*"|#.*')
_BLOCK_HEAD = re.compile(
    r"\s*(fitting|supply|district|(?:decoder|detector)\s+kind|locking\s+written)\b"
)
_REPORTS = re.compile(r"\s*drive\s+\w+\s*(\.\s*\w+\s+)?\bdetected\s*")
_ONLY_SO = re.compile(
    r"detector\s+(kind\b|(?!locks\b|needs\b)\w+\s+\w+\s*(at\s+\w+\s*)?$)"
    r"|(report|button|lamp|output)\s[^=]*=|time\s+of\b"
    r"|district\s+\w+\s*(\{|$)"
    r"|(platform|note)\s*\"|bridge\s+\w+\s+over\b"
    r"|frog\s[^=]*(=|\bwith\s+drive\b|\bby\s+reverser\b|\bdead\b)"
)
"""How lines go on that begin with a keyword which may be a name as well, in a block or where a
line goes on in the next."""
NAMES_TOO = frozenset(
    "detector report button lamp time frog output district bridge platform note".split()
)
"""Keywords that lead statements and may be names all the same."""
_MAY_BE_NAMES = re.compile(rf"({'|'.join(sorted(NAMES_TOO))})\b")
_GOES_ON = re.compile(r"[,\-–—]\s*$")


@dataclass(frozen=True, slots=True)
class Chunk:
    """The text of one statement.

    line: how many lines of the file stand before it.
    unclosed: the column of a `{` that is never closed, counted from 1.
    """

    text: str
    line: int
    unclosed: int | None = None


def only_a_statement(text: str) -> bool:
    """Whether a line goes on as a statement does, of which the keyword may be a name as well."""
    return _ONLY_SO.match(text.lstrip()) is not None


def code_of(row: str) -> str:
    """A source line with texts and comments blanked out, columns kept."""
    return TEXT_OR_COMMENT.sub(lambda m: " " * len(m.group()), row)


def cut(text: str, keywords: frozenset[str]) -> list[Chunk]:
    """The statements of a source in order; lines without code are left out.

    keywords: the words that lead statements. An unindented line that begins
    with one ends a block or a line left open: blocks do not nest.
    """
    rows = text.split("\n")
    codes = [code_of(row) for row in rows]
    chunks = []
    first = 0
    while first < len(rows):
        if not codes[first].strip():
            first += 1
            continue
        chunk, first = _one(rows, codes, first, keywords)
        chunks.append(chunk)
    return chunks


def _one(
    rows: list[str], codes: list[str], first: int, keywords: frozenset[str]
) -> tuple[Chunk, int]:
    last = first
    opened: int | None = None
    if _BLOCK_HEAD.match(codes[first]) and "{" not in codes[first]:
        # The brace was forgotten: what stands indented below belongs to the block.
        while last + 1 < len(rows) and (
            not codes[last + 1].strip() or codes[last + 1][0] in " \t{}"
        ):
            last += 1
        return Chunk(rows[first], first), last + 1
    while True:
        code = codes[last]
        for at, sign in enumerate(code):
            if sign == "{" and opened is None:
                opened = at if last == first else 0
            elif sign == "}":
                opened = None
        if opened is None and not _GOES_ON.search(code):
            break
        following = last + 1
        while following < len(rows) and not codes[following].strip():
            following += 1
        if following == len(rows):
            break
        if _leads(codes[following], keywords) and not (
            opened is not None and _is_fitting_drive(codes[first], codes[following])
        ):
            break
        if opened is None and _declares_anew(codes[first], codes[following], keywords):
            break
        last = following
    text = "\n".join(rows[first : last + 1])
    return Chunk(text, first, None if opened is None else opened + 1), last + 1


def _declares_anew(head: str, code: str, keywords: frozenset[str]) -> bool:
    """Whether a line after fittings and a comma has fittings of its own: the comma was left
    behind. Names go on as `P2, P3` or `S2 with one drive`."""
    leader = head.split()[0]
    return leader not in keywords and re.match(r"\s*\w+\s+(?!with\b)\w", code) is not None


def _is_fitting_drive(head: str, code: str) -> bool:
    """Whether a `drive` line is part of the fitting whose block is open."""
    return (
        head.split()[0] == "fitting"
        and code.split()[0] == "drive"
        and "=" not in code
        and not re.search(r"\bat\b", code)
        and "by hand" not in code
        and not _REPORTS.fullmatch(code)
    )


def _leads(code: str, keywords: frozenset[str]) -> bool:
    word = re.match(r"\w+", code)
    if word is None or word.group() not in keywords:
        return False
    return not _MAY_BE_NAMES.match(code) or _ONLY_SO.match(code) is not None
