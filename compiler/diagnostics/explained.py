"""The page on a diagnostic code, as people read it: what it means, an example that is faulty, and
the same put right, with the lines marked in which the two differ. Pages on the words of a verdict
and on what it assumes have no examples."""

from __future__ import annotations

import textwrap
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import cache
from importlib import resources

from bellcrank.diagnostics.diagnostic import printable
from bellcrank.diagnostics.error_pages import pages

FAULTY, RIGHT = "x", "*"
"""Mark the lines that are faulty, and those that are put right."""


@dataclass(frozen=True, slots=True)
class Row:
    """A line of an example. mark: FAULTY, RIGHT, or a blank where nothing is changed."""

    text: str
    mark: str = " "


@dataclass(frozen=True, slots=True)
class Example:
    """A text, as faulty or put right. title: which of them, and of which file."""

    title: str
    rows: tuple[Row, ...]

    @property
    def heading(self) -> str:
        """The title, with what marks the lines if any are marked."""
        marks = {row.mark for row in self.rows} - {" "}
        return self.title + "".join(f" ({mark})" for mark in marks)


@dataclass(frozen=True, slots=True)
class Page:
    """What is told of a code or a word. paragraphs: each on one line, with code in backticks."""

    code: str
    title: str
    paragraphs: tuple[str, ...]
    examples: tuple[Example, ...]


@cache
def explained(code: str) -> Page | None:
    """The page of a code, or None if there is no such code."""
    page = pages().get(code)
    if page is None:
        return None
    return Page(code, page["title"], _paragraphs(page), tuple(_examples(page)))


@cache
def verdict_words() -> Mapping[str, Page]:
    """The page of each word that a verdict says of what it is about."""
    source = resources.files("bellcrank.diagnostics").joinpath("verdict_words.toml")
    words = tomllib.loads(source.read_text("utf-8"))
    return {word: Page(word, page["title"], _paragraphs(page), ()) for word, page in words.items()}


@cache
def assumption_pages() -> Mapping[str, Page]:
    """The page of each thing that a verdict can assume, by its name there."""
    source = resources.files("bellcrank.diagnostics").joinpath("assumption_pages.toml")
    return {
        name: Page(
            name,
            "assumed, not proved",
            (_sentence(told["assumed"]), f"If that is not so: {told['false']}."),
            (),
        )
        for name, told in tomllib.loads(source.read_text("utf-8")).items()
    }


def as_text(page: Page) -> str:
    """A page for a terminal: no wider than 80 columns but for its examples."""
    parts = [f"{page.code}: {page.title}"]
    parts += [textwrap.fill(paragraph, 80) for paragraph in page.paragraphs]
    for example in page.examples:
        rows = [f"  {row.mark} {printable(row.text)}".rstrip() for row in example.rows]
        parts += [f"{example.heading}:", "\n".join(rows)]
    return "\n\n".join(parts)


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}."


def _paragraphs(page: Mapping[str, str]) -> tuple[str, ...]:
    return tuple(" ".join(p.split()) for p in page["text"].split("\n\n"))


def _examples(page: Mapping[str, object]) -> Iterator[Example]:
    match page:
        case {"files": dict(files), "put_right": dict(right)}:
            for name, text in files.items():
                yield _faulty(f"Faulty, in {name}", text, right.get(name, ""))
            for name, text in right.items():
                if text != files.get(name):
                    yield _put_right(f"Put right, in {name}", files.get(name, ""), text)
        case {"example": str(text), "put_right": str(right)}:
            if "layout" in page:
                yield Example("On this layout", _rows(str(page["layout"])))
            yield _faulty("Faulty", text, right)
            yield _put_right("Put right", text, right)


def _rows(text: str) -> tuple[Row, ...]:
    return tuple(Row(line) for line in text.strip("\n").split("\n"))


def _faulty(title: str, text: str, right: str) -> Example:
    return Example(title, tuple(_marked(_rows(text), _rows(right), FAULTY)))


def _put_right(title: str, faulty: str, text: str) -> Example:
    return Example(title, tuple(_marked(_rows(text), _rows(faulty), RIGHT)))


def _marked(rows: tuple[Row, ...], others: tuple[Row, ...], mark: str) -> Iterator[Row]:
    """Rows, with a mark on those that have no counterpart among others."""
    alike = SequenceMatcher(None, rows, others, autojunk=False)
    same = {n for start, _, size in alike.get_matching_blocks() for n in range(start, start + size)}
    for number, row in enumerate(rows):
        yield row if number in same else Row(row.text, mark)
