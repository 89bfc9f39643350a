"""From text to tree, with errors that say what was expected.

The grammar is `grammar/layout.lark`. A source without mistakes is parsed in
one go; after a mistake each statement is parsed by itself, so that one run
reports many.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import replace

from lark import UnexpectedInput
from lark.exceptions import UnexpectedCharacters, UnexpectedToken

from bellcrank.diagnostics import Collector, Diagnostic, Instead, Span, nearest
from bellcrank.syntax import tree as t
from bellcrank.syntax.build_tree import Builder, token_span
from bellcrank.syntax.characters import without_unwanted
from bellcrank.syntax.chunks import (
    NAMES_TOO,
    TEXT_OR_COMMENT,
    Chunk,
    code_of,
    cut,
    only_a_statement,
)
from bellcrank.syntax.grammar_tables import layout_parser
from bellcrank.syntax.hints import hint_for, names_after_with
from bellcrank.syntax.merged import without_merge_markers

LONGEST_LINE = 10_000
"""Characters; nobody wrote a longer line by hand."""

MOST_ERRORS = 50
"""Syntax errors reported for one file."""

LINE_STARTERS = NAMES_TOO | set(
    "layout use fitting coupled run section reverser draw signal overlap flank routes route "
    "locking release expect numbering decoder drive supply".split()
)
"""The keywords that lead statements."""

RESERVED = (LINE_STARTERS - NAMES_TOO) | set(
    "stop edge to via with never derive every each only kind".split()
)
"""Words no element, signal or route may bear as its name."""

_FITTING = re.compile(r"^[ \t]*fitting[ \t]+(\w+)", re.MULTILINE)

_MISREAD = (
    re.compile(r"\s*(?:decoder|detector)\s+\w+\s+(at)\s+\w+\s*(?:#.*)?$"),  # without its kind
    re.compile(r"\s*(?:drive|signal|output)\s+\w+(?:\.\w+)?\s+(\w+\.\w+)"),  # without `=`
    re.compile(
        r"\s*supply\s[^}]*\bfeeds\s+(?:\w+,\s*)*\w+\s+(?!one\b|gives\b)(\w+)\s+(?!at\b)"
    ),  # a comma
    re.compile(r"\s*supply\s[^}]*\bgives\s+\d[\d.]*\s*m?[AV]\s+(\d[\d.]*\s*m?[AV])"),  # likewise
)
"""Lines in which a word can be read as something else than it is meant for, so that the grammar
stumbles over a later one; the group is where it begins to go wrong."""

_PHRASES = {
    "WORD": "a name",
    "STRING": 'a text in double quotes, such as "Home Yard"',
    "DURATION": "a time, such as 200 ms",
    "AMOUNT": "an amount with its unit, such as 3 A",
    "_DASH": "`-`",
    "_COMMA": "`,`",
    "_NL": "the end of the line",
    "$END": "the end of the line",
}


def parse(text: str, file: str) -> tuple[t.SourceFile, tuple[Diagnostic, ...]]:
    """Parse one source.

    text: the whole source, decoded.
    file: its name, as it shall stand in messages.
    Returns the tree of all statements that could be read, and the diagnostics.
    """
    found = Collector()
    text = _without_endless_lines(without_unwanted(text, file, found, MOST_ERRORS), file, found)
    text = without_merge_markers(text, file, found)
    comments = _comments(text, file)
    if not found.diagnostics:
        whole = Collector()
        try:
            raw = layout_parser().parse(text, start="file")
        except UnexpectedInput:
            pass
        else:
            statements = Builder(file, 0, whole).transform(raw)
            if not whole.diagnostics:
                return t.SourceFile(file, tuple(statements), comments), ()
    statements = []
    kinds = frozenset(_FITTING.findall(text)) & NAMES_TOO
    unread: set[str] = set()
    for chunk in cut(text, LINE_STARTERS):
        statement = None
        before = len(found.diagnostics)
        if before < MOST_ERRORS:
            statement = _declared(chunk, kinds, file) or _parse_chunk(chunk, file, found)
        if statement is not None:
            statements.append(statement)
        if statement is None or len(found.diagnostics) > before:
            unread.update(re.findall(r"\w+", "\n".join(map(code_of, chunk.text.split("\n")))))
    return t.SourceFile(file, tuple(statements), comments, frozenset(unread)), found.result()


def _without_endless_lines(text: str, file: str, found: Collector) -> str:
    if len(text) <= LONGEST_LINE:
        return text
    rows = text.split("\n")
    for index, row in enumerate(rows):
        if len(row) > LONGEST_LINE:
            found.report(
                "E103",
                f"this line has {len(row):,} characters; no line may have over {LONGEST_LINE:,}",
                Span(file, index + 1, LONGEST_LINE + 1, index + 1, LONGEST_LINE + 2),
                expected="one statement a line",
                hint="a line may be broken after a comma or a dash",
            )
            rows[index] = ""
    return "\n".join(rows)


def _comments(text: str, file: str) -> tuple[t.Comment, ...]:
    comments = []
    for index, row in enumerate(text.split("\n")):
        if "#" not in row:
            continue
        for match in TEXT_OR_COMMENT.finditer(row):
            if match.group().startswith("#"):
                span = Span(file, index + 1, match.start() + 1, index + 1, match.end() + 1)
                alone = not row[: match.start()].strip()
                comments.append(t.Comment(span, match.group().rstrip(), alone))
    return tuple(comments)


def _declared(chunk: Chunk, kinds: Collection[str], file: str) -> t.Declaration | None:
    """The declaration of fittings of a kind that begins with a keyword which may be a name: the
    grammar, which sees one word at a time, takes the keyword for one. None for anything else.

    kinds: the first words of such kinds in this file.
    """
    match = re.match(r"\s*(\w+)", chunk.text)
    word = match.group(1) if match else ""
    if match is None or word not in kinds or only_a_statement(chunk.text):
        return None
    masked = chunk.text[: match.start(1)] + "_" * len(word) + chunk.text[match.end(1) :]
    try:
        raw = layout_parser().parse(masked, start="statement")
    except UnexpectedInput:
        return None
    statement = Builder(file, chunk.line, Collector()).transform(raw)
    if not isinstance(statement, t.Declaration):
        return None
    first, *rest = statement.kind.words
    kind = replace(statement.kind, words=(replace(first, text=word), *rest))
    return replace(statement, kind=kind)


def _parse_chunk(chunk: Chunk, file: str, found: Collector) -> t.Statement | None:
    if chunk.unclosed is not None:
        line = chunk.line + 1
        found.report(
            "E104",
            "this block is never closed",
            Span(file, line, chunk.unclosed, line, chunk.unclosed + 1),
            expected="a `}` after the last part of the block",
        )
        return None
    text = chunk.text
    intact = True
    while True:
        try:
            raw = layout_parser().parse(text, start="statement")
        except UnexpectedInput as error:
            place = _report(error, text, chunk.line, file, found)
            rest = _blank_line(text, place)
            if rest is None or len(found.diagnostics) >= MOST_ERRORS:
                return None
            text = rest
            intact = False
        else:
            statement: t.Statement | None = Builder(file, chunk.line, found).transform(raw)
            return statement if intact else None


def _blank_line(text: str, line: int) -> str | None:
    """The block without one of its inner lines, or None where that is no help."""
    rows = text.split("\n")
    if not 1 < line <= len(rows) or not rows[line - 1].strip():
        return None
    rows[line - 1] = "}" if "}" in code_of(rows[line - 1]) else ""
    blanked = "\n".join(rows)
    return blanked if blanked != text else None


def _report(
    error: UnexpectedInput, text: str, line_offset: int, file: str, found: Collector
) -> int:
    """Report one syntax error; returns the line of the chunk it stands on."""
    rows = text.split("\n")
    if isinstance(error, UnexpectedToken) and error.token.type != "$END":
        token = error.token
        line = token.line or 1
        span = token_span(token, file, line_offset)
        if token.type == "_NL":
            what, word = "the line ends too early", ""
            span = _after_code(rows, line, line_offset, file)
        else:
            word = str(token)
            if "\n" in word:  # a sign after which the line goes on in the next
                word = word[0]
                span = replace(span, end_line=span.line, end_column=span.column + 1)
            what = f"`{word}` does not belong here"
        expected = _expected(error)
    elif isinstance(error, UnexpectedCharacters):
        line, column = error.line, error.column
        span = Span(file, line + line_offset, column, line + line_offset, column + 1)
        word = rows[line - 1][column - 1 : column]
        what = f"`{word}` does not belong here"
        expected = set(error.allowed or ())
    else:
        line = len(rows)
        what, word = "the line ends too early", ""
        span = _after_code(rows, line, line_offset, file)
        expected = _expected(error)
    leader = _misspelt_leader(rows[0], span.column) if line == 1 else None
    code = code_of(rows[line - 1]).rstrip()
    if not word and code.endswith(",") and leader is None:
        column = len(code)
        found.report(
            "E101",
            "the line ends with a `,`",
            Span(file, line + line_offset, column, line + line_offset, column + 1),
            expected=f"{_phrase(expected, False) or 'something'} after it",
            hint=Instead(",", "", "take out the `,`: nothing follows it"),
        )
    elif leader is not None:
        at, near = leader
        start = Span(file, 1 + line_offset, at, 1 + line_offset, at + len(rows[0].split()[0]))
        what = f"`{rows[0].split()[0]}` starts no statement"
        found.report("E101", what, start, hint=Instead(rows[0].split()[0], near))
    else:
        keywords = {k for k in map(_literal, expected) if k and k.isalpha()}
        row = rows[line - 1]
        hint = hint_for(word, row, expected, keywords, LINE_STARTERS)
        begins = not row[: span.column - 1].strip()
        phrase = _phrase(expected, begins)
        misread = next(filter(None, (pattern.match(row) for pattern in _MISREAD)), None)
        if hint is not None and misread is not None and span.column > misread.start(1) + 1:
            at = misread.start(1) + 1
            span = Span(file, span.line, at, span.line, at + len(misread[1]))
            what, phrase = f"`{misread[1]}` does not belong here", None
        found.report("E101", what, span, expected=phrase, hint=hint)
    return line


_LEADERS = {"detect": "report", "sensor": "report", "occupancy": "report"}
"""Words that people begin a line with, and the one that leads it here."""


def _misspelt_leader(row: str, column: int) -> tuple[int, str] | None:
    """Where the first word of a line stands and the keyword it may be meant for."""
    match = re.match(r"\s*(\w+)(?!\w|[-.])", row)
    if match is None or match.group(1) in LINE_STARTERS or column <= match.end():
        return None
    if names_after_with(row):
        return None
    near = _LEADERS.get(match.group(1)) or nearest(match.group(1), LINE_STARTERS)
    return None if near is None else (match.start(1) + 1, near)


def _after_code(rows: list[str], line: int, line_offset: int, file: str) -> Span:
    """The place behind the last word of a line."""
    column = len(code_of(rows[line - 1]).rstrip()) + 1
    return Span(file, line + line_offset, column, line + line_offset, column + 1)


def _expected(error: UnexpectedInput) -> set[str]:
    if not isinstance(error, UnexpectedToken):
        return set()
    try:
        accepts = error.accepts
    except (AttributeError, KeyError):
        accepts = None
    return set(accepts or error.expected)


def _literal(terminal: str) -> str | None:
    """The word a keyword terminal stands for, or None for other terminals."""
    if terminal in _PHRASES or terminal == "COMMENT":
        return None
    return str(layout_parser().get_terminal(terminal).pattern.value).removesuffix(r"\b")


def _phrase(terminals: set[str], begins: bool) -> str | None:
    """What could stand at a place, in words. begins: whether a line begins there."""
    phrases = {_PHRASES.get(x) or f"`{_literal(x)}`" for x in terminals if x != "COMMENT"}
    if not phrases:
        return None
    if len(phrases) > 12:
        if {"OUTPUTS", "SWITCHES"} <= terminals and "LEGS" not in terminals:
            return "what a kind of decoder has, such as `outputs`, `switches` or `counts`, or `}`"
        if not begins:
            return None  # every word of the language: none of them is of any help
        return "the start of a statement, such as `run`, `signal`, or a kind of fitting"
    ordered = sorted(phrases, key=lambda p: (p.startswith("`"), p))
    return ordered[0] if len(ordered) == 1 else ", ".join(ordered[:-1]) + " or " + ordered[-1]
