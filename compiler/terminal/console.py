"""Standard output and error: widths, colours, progress, and output that fails."""

from __future__ import annotations

import io
import json
import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import Any

import msgspec
from rich.console import Console, RenderableType
from rich.live import Live
from rich.text import Text

from bellcrank.diagnostics import Diagnostic, printable, render
from bellcrank.terminal.sheet import WIDTH


def prepare() -> None:
    """Let signs that a terminal's encoding lacks be escaped; better that than none."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def drop_output() -> None:
    """Send what is still buffered nowhere, so that closing does not fail once more."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError, AttributeError):
            stream.flush()
            continue
        with suppress(OSError, ValueError, AttributeError):
            os.dup2(nowhere, stream.fileno())


SOON = 0.3
"""Seconds in which no line says what is being done: most commands are ready by then."""

SELDOM = 0.05
"""Seconds from one such line to the next; writing them takes time as well."""


@contextmanager
def progress() -> Iterator[Callable[[str], None] | None]:
    """A line on the terminal that says what is being done, and for how long the whole has taken.

    No thread moves it: a process with threads cannot be copied for a share of the work.
    """
    console = Console(stderr=True)
    if not console.is_terminal:
        yield None
        return
    line = Live(console=console, auto_refresh=False, transient=True)
    begun = time.monotonic()
    due = begun + SOON

    def tell(message: str) -> None:
        nonlocal due
        if time.monotonic() < due:
            return
        line.start()
        minutes, seconds = divmod(int(time.monotonic() - begun), 60)
        said = Text(f"{minutes}:{seconds:02} {message} …", overflow="ellipsis", no_wrap=True)
        line.update(said, refresh=True)
        due = time.monotonic() + SELDOM

    try:
        yield tell
    finally:
        line.stop()


class _Console(Console):
    """A console that leaves a broken pipe to `main`."""

    def on_broken_pipe(self) -> None:
        raise BrokenPipeError


def _console(stream: Any) -> Console:
    console = _Console(file=stream, highlight=False, markup=False, emoji=False)
    asked = os.environ.get("COLUMNS", "")
    if console.is_terminal or (asked.isdecimal() and int(asked) > 0):
        console.width = min(console.width, WIDTH)
    else:
        console.width = WIDTH
    return console


def width() -> int:
    """Columns to fill on standard output."""
    return max(40, _console(sys.stdout).width)


def show(what: RenderableType) -> None:
    _console(sys.stdout).print(what)


def print_json(*parts: msgspec.Struct, in_a_line: bool = False) -> None:
    """Print one JSON object with the fields of all parts. in_a_line: in one line, at once, where
    more of them follow."""
    told: dict[str, object] = {}
    for part in parts:
        told |= msgspec.to_builtins(part)
    print(json.dumps(told, ensure_ascii=False, indent=None if in_a_line else 2), flush=in_a_line)


def print_diagnostics(diagnostics: Sequence[Diagnostic], texts: dict[str, str]) -> None:
    console = _console(sys.stderr)
    for d in diagnostics:
        colour = "bold red" if d.severity == "error" else "bold yellow"
        text = Text(render(d, texts))
        text.highlight_words([f"{d.severity} {d.code}:"], colour)
        console.print(text, soft_wrap=True)


def say(message: str, program: str = "bellcrank") -> None:
    """Tell something beside the output. program: who says it, as it was called."""
    print(f"{program}: {printable(message)}", file=sys.stderr)
