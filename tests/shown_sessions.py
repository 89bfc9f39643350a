"""Sessions at a terminal as pages show them: taken from Markdown, played, and compared.

In a page, a block `console` is a session: what stands behind `$ ` is typed, the rest is printed.
A line of three dots stands for any lines. `<!-- file: NAME -->` before a block says that a file
holds it from then on, `<!-- added to: NAME -->` that its end does, `<!-- line of: NAME, kept as OLD
-->` that it takes the place of the line that begins alike; `<!-- typed: … | … -->`, which lines a
person answers with.
"""

from __future__ import annotations

import io
import re
import shlex
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from bellcrank.commands.cli import main

_BLOCK = re.compile(
    r"(?:<!-- (?P<what>file|added to|line of|typed): (?P<said>.*?) -->\n)?"
    r"^```(?P<kind>[^\n]*)\n(?P<text>.*?)^```$",
    flags=re.M | re.S,
)


@dataclass(frozen=True)
class Written:
    """A file that the reader writes. added: at the end of what it holds."""

    name: str
    text: str
    added: bool


@dataclass(frozen=True)
class LineChanged:
    """A line that the reader changes, having kept the file under another name."""

    name: str
    kept_as: str
    line: str


@dataclass(frozen=True)
class Typed:
    """A command, what is shown of its output, and how its questions are answered."""

    command: str
    shown: str
    answers: tuple[str, ...]


Step = Written | LineChanged | Typed


def steps(page: str) -> Iterator[Step]:
    """What a page has its reader do, in order."""
    for block in _BLOCK.finditer(page):
        what, said = block["what"], block["said"]
        if what in ("file", "added to"):
            yield Written(said, block["text"], what == "added to")
        elif what == "line of":
            name, kept_as = said.split(", kept as ")
            yield LineChanged(name, kept_as, block["text"])
        elif block["kind"] == "console":
            answers = tuple(said.split(" | ")) if what == "typed" else ()
            for part in re.split(r"^\$ ", block["text"], flags=re.M)[1:]:
                command, shown = part.split("\n", 1)
                yield Typed(command, shown, answers)


class _Answering(io.StringIO):
    """Standard input that shows what is read from it, as a terminal does."""

    def readline(self, size: int | None = -1, /) -> str:
        line = super().readline()
        print(line, end="")
        return line


def play(
    step: Step,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> str:
    """Do in the current folder what a step says; gives what is printed."""
    match step:
        case Written(name, text, added):
            before = Path(name).read_text("utf-8") if added else ""
            Path(name).write_text(before + text, "utf-8")
            return ""
        case LineChanged(name, kept_as, line):
            rows = Path(name).read_text("utf-8").splitlines(keepends=True)
            Path(kept_as).write_text("".join(rows), "utf-8")
            start = line.split("=")[0]
            (number,) = (n for n, row in enumerate(rows) if row.startswith(start))
            rows[number] = line
            Path(name).write_text("".join(rows), "utf-8")
            return ""
    monkeypatch.setattr(sys, "stdin", _Answering("".join(f"{a}\n" for a in step.answers)))
    main(shlex.split(step.command)[1:])
    said = capsys.readouterr()
    return said.err + said.out


def tidy(text: str) -> list[str]:
    """Lines without what may differ: spaces at the end, the version of z3, the time of day."""
    text = re.sub(r"by z3 [\d.]+", "by z3", text)
    text = re.sub(r"\d{4}-\d\d-\d\d", "YYYY-MM-DD", text)
    return [line.rstrip() for line in text.strip().splitlines()]


def is_shown(lines: list[str], shown: list[str]) -> bool:
    """Whether lines are what is shown, in which a line of three dots stands for any others."""
    if "…" not in shown:
        return lines == shown
    cut = shown.index("…")
    if lines[:cut] != shown[:cut]:
        return False
    rest = shown[cut + 1 :]
    return any(is_shown(lines[start:], rest) for start in range(cut, len(lines) + 1))
