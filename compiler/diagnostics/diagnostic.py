"""Diagnostics: what is wrong with a source, as values.

Every stage returns diagnostics beside its result and never prints or raises
them. This module holds the values and how they read as text; nothing in it
knows about the language or about railways. What a code means stands in
error_pages.toml.
"""

from __future__ import annotations

import difflib
import heapq
import textwrap
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from bellcrank.diagnostics.error_pages import Severity, kind_of

WIDTH = 100
"""Columns that a message is wrapped to."""

EXCERPT_WIDTH = 84
"""Widest piece of a source line that is shown, in characters."""


class Noun(NamedTuple):
    """What messages call a sort of thing, with its article."""

    article: str
    noun: str

    def __str__(self) -> str:
        return f"{self.article} {self.noun}"


class Instead(str):
    """A hint that one thing be written for another, as the sentence that says so.

    wrong: what stands in the source. right: what it is most likely meant for; nothing, if it is
    to be taken out. said: the sentence, unless it asks whether `right` is meant.
    """

    wrong: str
    right: str

    def __new__(cls, wrong: str, right: str, said: str | None = None) -> Instead:
        hint = super().__new__(cls, said or f"did you mean `{right}`?")
        hint.wrong, hint.right = wrong, right
        return hint

    def __getnewargs__(self) -> tuple[str, str, str]:  # type: ignore[override]
        """Of what it is made anew when it is copied."""
        return self.wrong, self.right, str(self)


@dataclass(frozen=True, slots=True, order=True)
class Span:
    """A stretch of source text. Lines and columns count from 1; the end column
    is the one after the last character."""

    file: str
    line: int
    column: int
    end_line: int
    end_column: int

    def to(self, other: Span) -> Span:
        """The span from the start of this one to the end of the other."""
        return Span(self.file, self.line, self.column, other.end_line, other.end_column)

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}"


@dataclass(frozen=True, slots=True)
class Diagnostic:
    """One thing wrong, or worth a warning.

    code: stable, such as E201; `bellcrank explain CODE` has a page on it.
    span: the exact words it is about.
    expected: what would have been right, as a phrase, if that can be said.
    hint: one suggestion that would mend it; `Instead` if that is a word for another.
    related: other places that belong to it, each with a remark.
    """

    code: str
    message: str
    span: Span
    expected: str | None = None
    hint: str | None = None
    related: tuple[tuple[Span, str], ...] = ()

    @property
    def severity(self) -> Severity:
        return kind_of(self.code).severity


MOST_MISTAKES = 1_000
"""Errors of one pass, after which it is given up: whoever has more mends these first."""

MOST_SUGGESTIONS = 50
"""Errors of one pass for which a name is sought among all names of a layout."""


class TooManyMistakesError(Exception):
    """A pass has found as many errors as it may report."""


@dataclass(slots=True)
class Collector:
    """Gathers the diagnostics of one pass while it runs.

    most: errors after which `report` raises TooManyMistakesError, so that a pass over a
        text that is wrong throughout ends soon; None if the pass has a bound of its own.
    """

    diagnostics: list[Diagnostic] = field(default_factory=list)
    most: int | None = None
    errors: int = 0

    def report(
        self,
        code: str,
        message: str,
        span: Span,
        *,
        expected: str | None = None,
        hint: str | None = None,
        related: Iterable[tuple[Span, str]] = (),
    ) -> None:
        said = Diagnostic(code, message, span, expected, hint, tuple(related))
        self.diagnostics.append(said)
        self.errors += said.severity == "error"
        if self.most is not None and self.errors >= self.most:
            raise TooManyMistakesError

    def did_you_mean(self, word: str, known: Iterable[str]) -> Instead | None:
        """A hint naming the nearest of all names of a layout; none any more once many
        errors have been found, as each search goes through all of them."""
        return did_you_mean(word, known) if self.errors < MOST_SUGGESTIONS else None

    def result(self) -> tuple[Diagnostic, ...]:
        return tuple(self.diagnostics)


def has_errors(diagnostics: Iterable[Diagnostic]) -> bool:
    """Whether any of them is an error rather than a warning."""
    return any(d.severity == "error" for d in diagnostics)


LONGEST_LIKENESS = 200
"""Characters of a word for which a name is sought that is like it."""

MOST_ALIKE = 1_000
"""Names that are compared with a misspelt one, letter by letter."""


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known name most like a misspelt one, or None if none is near.

    Upper and lower case count as alike. Ties go to the first in the alphabet. Of very
    many names those that share the most pairs of letters with the word are looked at.
    """
    if len(word) > LONGEST_LIKENESS:
        return None
    sought = word.casefold()
    names = {name for name in known if len(name) <= LONGEST_LIKENESS}
    if len(names) > MOST_ALIKE:
        pairs = _pairs(sought)
        names = set(
            heapq.nsmallest(
                MOST_ALIKE, names, lambda name: (-len(pairs & _pairs(name.casefold())), name)
            )
        )
    folded: dict[str, str] = {}
    for name in sorted(names, reverse=True):
        folded[name.casefold()] = name
    found = difflib.get_close_matches(sought, sorted(folded), n=1, cutoff=0.6)
    return folded[found[0]] if found else None


def _pairs(text: str) -> set[str]:
    return {text[at : at + 2] for at in range(len(text) - 1)}


def did_you_mean(word: str, known: Iterable[str]) -> Instead | None:
    """A hint naming the nearest known name, or None."""
    name = nearest(word, known)
    return Instead(word, name) if name is not None else None


def render(diagnostic: Diagnostic, sources: Mapping[str, str]) -> str:
    """A diagnostic as plain text, with the source line and a caret under the token."""
    d = diagnostic
    lines = _wrap(f"{d.span}: {d.severity} {d.code}: {d.message}", "")
    lines += _excerpt(d.span, sources)
    if d.expected:
        lines += _wrap(f"expected: {d.expected}", "  ")
    if d.hint:
        lines += _wrap(f"try: {d.hint}", "  ")
    for span, remark in d.related:
        lines += _wrap(f"{span}: {remark}", "  ")
        lines += _excerpt(span, sources)
    return "\n".join(lines)


def _wrap(text: str, indent: str) -> list[str]:
    return textwrap.wrap(
        printable(text),
        WIDTH,
        initial_indent=indent,
        subsequent_indent="    ",
        break_long_words=False,
        break_on_hyphens=False,
    )


def printable(text: str) -> str:
    """The text, with what a terminal would obey rather than show written as an escape."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else _escape(c) for c in text)


def _escape(sign: str) -> str:
    return sign.encode("unicode_escape").decode("ascii")


def _printable(text: str) -> str:
    """The text with a `?` for what a terminal would obey, so that columns stay."""
    return "".join(c if c.isprintable() else "?" for c in text)


def _excerpt(span: Span, sources: Mapping[str, str]) -> list[str]:
    if span.file not in sources:
        return []
    rows = sources[span.file].split("\n", span.line)
    if not 1 <= span.line <= len(rows):
        return []
    row = rows[span.line - 1].rstrip("\r").replace("\t", " ")
    start = span.column - 1
    end = span.end_column - 1 if span.end_line == span.line else len(row)
    end = max(end, start + 1)
    left = 0
    if len(row) > EXCERPT_WIDTH:
        left = max(0, min(start - EXCERPT_WIDTH // 3, len(row) - EXCERPT_WIDTH))
    shown = row[left : left + EXCERPT_WIDTH]
    shown = _printable(shown)
    before, after = "… " if left else "", " …" if left + EXCERPT_WIDTH < len(row) else ""
    caret_at = start - left + len(before)
    carets = "^" * min(end - start, max(1, EXCERPT_WIDTH - (start - left)))
    gutter = str(span.line)
    return [
        f"  {gutter} | {before}{shown}{after}",
        f"  {' ' * len(gutter)} | {' ' * caret_at}{carets}",
    ]
