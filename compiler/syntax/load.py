"""Reading a layout that may be split over files by `use "file"`.

A used file lies in the folder of the first file or below it. This is the one
place where the compiler reads sources from the disk.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from bellcrank.diagnostics import Collector, Diagnostic, Span, did_you_mean
from bellcrank.syntax import tree as t
from bellcrank.syntax.parse import parse

S = TypeVar("S", bound=t.Node)

DEEPEST_USE = 50
"""Files that may use one another in a chain."""

LARGEST_FILE = 16_000_000
"""Bytes."""


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
    texts: dict[str, str] = field(default_factory=dict)
    files: list[t.SourceFile] = field(default_factory=list)
    seen: dict[Path, str] = field(default_factory=dict)
    open_files: list[Path] = field(default_factory=list)

    def add(self, text: str, name: str) -> None:
        self.texts[name] = text
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
            self.found.report("E702", f'"{use.path.text}" is no name of a file', use.path.span)
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
        text = _read_text(path, name, self, use.path.span)
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


def load_file(path: Path, *, follow: bool = True) -> tuple[Program, tuple[Diagnostic, ...]]:
    """A layout from its file and, if `follow`, all files it uses."""
    found = Collector()
    try:
        resolved = path.resolve()
    except (OSError, ValueError, RuntimeError):  # a loop of links, or no possible name
        found.report("E702", f"{path} is no name of a file", Span(str(path), 1, 1, 1, 2))
        return Program((), {}), found.result()
    loader = _Loader(resolved.parent, found, follow)
    text = _read_text(resolved, path.name, loader, Span(str(path), 1, 1, 1, 2))
    if text is not None:
        loader.seen[resolved] = path.name
        loader.open_files.append(resolved)
        loader.add(text, path.name)
    return Program(tuple(loader.files), loader.texts), found.result()


def _read_text(path: Path, name: str, loader: _Loader, asked: Span) -> str | None:
    """The text of a source file, or None with the reason reported.

    asked: the words that ask for the file.
    """
    found = loader.found
    try:
        if path.exists() and not path.is_file():
            found.report("E702", f"{name} is no file that holds a text", asked)
            return None
        if path.is_file() and path.stat().st_size > LARGEST_FILE:
            found.report(
                "E103", f"{name} has over {LARGEST_FILE:,} bytes; that is no layout", asked
            )
            return None
        data = path.read_bytes()
    except FileNotFoundError:
        found.report("E702", f"there is no file {name}", asked, hint=_similar_file(path))
        return None
    except OSError as error:
        found.report("E702", f"{name} cannot be read: {error.strerror}", asked)
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        loader.texts[name] = data.decode("utf-8", "replace")  # so that the place can be shown
        before = data[: error.start]
        line = before.count(b"\n") + 1
        column = len(before.rsplit(b"\n", 1)[-1].decode("utf-8", "replace")) + 1
        found.report(
            "E102",
            f"{name} is not UTF-8: byte {error.start + 1} (0x{data[error.start]:02X}) "
            "stands for no character",
            Span(name, line, column, line, column + 1),
            expected="text saved as UTF-8",
            hint="save the file again with the encoding UTF-8",
        )
        return None
    return text.replace("\r\n", "\n")


def _similar_file(path: Path) -> str | None:
    try:
        names = [p.name for p in path.parent.iterdir() if p.is_file()]
    except OSError:
        return None
    return did_you_mean(path.name, names)
