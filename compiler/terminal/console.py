"""Standard output and error: widths, colours, progress, and output that fails."""

from __future__ import annotations

import io
import json
import os
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import Any

from rich.console import Console, RenderableType
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


@contextmanager
def progress() -> Iterator[Callable[[str], None] | None]:
    """A line on the terminal that says what is being done, after the first second."""
    console = Console(stderr=True)
    if not console.is_terminal:
        yield None
        return
    status = console.status("")
    timer = threading.Timer(1.0, status.start)
    timer.daemon = True
    timer.start()
    try:
        yield lambda message: status.update(f"{message} …")
    finally:
        timer.cancel()
        status.stop()


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


def print_json(data: dict[str, Any]) -> None:
    print(json.dumps(data, ensure_ascii=False, indent=2))


def print_diagnostics(diagnostics: Sequence[Diagnostic], texts: dict[str, str]) -> None:
    console = _console(sys.stderr)
    for d in diagnostics:
        colour = "bold red" if d.severity == "error" else "bold yellow"
        text = Text(render(d, texts))
        text.highlight_words([f"{d.severity} {d.code}:"], colour)
        console.print(text, soft_wrap=True)


def say(message: str) -> None:
    print(f"bellcrank: {printable(message)}", file=sys.stderr)
