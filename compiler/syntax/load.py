"""Reading a layout that may be split over files by `use "file"`.

A used file lies in the folder of the first file or below it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from bellcrank.diagnostics import Collector, Diagnostic, Span
from bellcrank.syntax import tree as t
from bellcrank.syntax.parse import parse
from bellcrank.syntax.reading import as_read, read_text

S = TypeVar("S", bound=t.Node)

DEEPEST_USE = 50
"""Files that may use one another in a chain."""

MOST_LINES = 150_000
"""In all files of a layout together; one of 10,000 routes has 15,000, and 100,000 if its
locking is written out."""


@dataclass(frozen=True, slots=True)
class Program:
    """A layout's sources, read and parsed.

    files: the trees; used files before the file that uses them.
    texts: the text of each file by the name it has in messages.
    """

    files: tuple[t.SourceFile, ...]
    texts: dict[str, str]

    def of(self, kind: type[S] | tuple[type[S], ...]) -> list[S]:
        """All statements of one kind, or of several, in the order of the text."""
        return [s for file in self.files for s in file.statements if isinstance(s, kind)]


@dataclass(slots=True)
class _Loader:
    folder: Path | None
    found: Collector
    follow: bool
    unsaved: Mapping[Path, str] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)
    files: list[t.SourceFile] = field(default_factory=list)
    seen: dict[Path, str] = field(default_factory=dict)
    open_files: list[Path] = field(default_factory=list)
    lines: int = 0

    def read(self, path: Path, name: str, asked: Span) -> str | None:
        """The text of a file as somebody is writing it, or as it is on the disk."""
        text = self.unsaved.get(path)
        if text is not None:
            return as_read(text)
        return read_text(path, name, asked, self.found, self.texts, "layout")

    def add(self, text: str, name: str) -> None:
        self.texts[name] = text
        lines = text.count("\n")
        if self.lines + lines > MOST_LINES:
            last = max(1, MOST_LINES - self.lines)
            self.found.report(
                "E103",
                f"the layout has over {MOST_LINES:,} lines, here in line {last:,} of {name}",
                Span(name, last, 1, last, 2),
            )
            return
        self.lines += lines
        source, diagnostics = parse(text, name)
        self.found.diagnostics += diagnostics
        for statement in source.statements:
            if isinstance(statement, t.UseLine) and self.follow:
                self._use(statement)
        self.files.append(source)

    def _use(self, use: t.UseLine) -> None:
        if self.folder is None:
            self.found.report(
                "E704",
                f'"{use.path.text}" cannot be used: this text comes from no folder',
                use.path.span,
                hint="save the layout to a file and compile the file",
            )
            return
        try:
            path = (self.folder / use.path.text).resolve()
        except (OSError, ValueError, RuntimeError):  # a loop of links, or no possible name
            self.found.report("E702", f'"{use.path.text}" is not the name of a file', use.path.span)
            return
        if not path.is_relative_to(self.folder):
            self.found.report(
                "E701",
                f'"{use.path.text}" lies outside the folder of the layout',
                use.path.span,
                expected="a file in the layout's folder or below it",
                hint="copy the file into the layout's folder",
            )
            return
        if path in self.open_files:
            chain = [p.name for p in self.open_files[self.open_files.index(path) :]]
            self.found.report(
                "E703",
                f'"{use.path.text}" uses itself: {" uses ".join([*chain, path.name])}',
                use.path.span,
                hint="take one of these `use` lines out",
            )
            return
        if path in self.seen:
            return
        if len(self.open_files) >= DEEPEST_USE:
            self.found.report(
                "E703",
                f"files use one another over {DEEPEST_USE} deep here",
                use.path.span,
                hint="let one file use the others side by side",
            )
            return
        name = path.relative_to(self.folder).as_posix()
        text = self.read(path, name, use.path.span)
        if text is None:
            return
        self.seen[path] = name
        self.open_files.append(path)
        self.add(text, name)
        self.open_files.pop()


def load_text(text: str, name: str) -> tuple[Program, tuple[Diagnostic, ...]]:
    """A layout given as one text, with no folder to use files from."""
    loader = _Loader(None, Collector(), follow=True)
    loader.add(text.removeprefix("\ufeff"), name)
    return Program(tuple(loader.files), loader.texts), loader.found.result()


def load_file(
    path: Path, *, follow: bool = True, unsaved: Mapping[Path, str] | None = None
) -> tuple[Program, tuple[Diagnostic, ...]]:
    """A layout from its file and, if `follow`, all files it uses.

    unsaved: texts that stand for those on the disk, by the resolved paths of their files.
    """
    found = Collector()
    try:
        resolved = path.resolve()
    except (OSError, ValueError, RuntimeError):  # a loop of links, or no possible name
        found.report("E702", f"{path} is not the name of a file", Span(str(path), 1, 1, 1, 2))
        return Program((), {}), found.result()
    loader = _Loader(resolved.parent, found, follow, unsaved or {})
    asked = Span(str(path), 1, 1, 1, 2)
    name = path.name or str(path)  # a folder such as `.` has no name
    text = loader.read(resolved, name, asked)
    if text is not None:
        loader.seen[resolved] = name
        loader.open_files.append(resolved)
        loader.add(text, name)
    return Program(tuple(loader.files), loader.texts), found.result()
