"""How the commands read a script of a rehearsal for a layout."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from bellcrank.compilation import Sound
from bellcrank.diagnostics import Collector, Diagnostic, Span
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.script import Line, read_script
from bellcrank.syntax.reading import read_text


class ReadScript(NamedTuple):
    """found: what is wrong with it. texts: of the layout and of the script, by file."""

    lines: tuple[Line, ...]
    found: tuple[Diagnostic, ...]
    texts: dict[str, str]


def script_of(path: Path, c: Sound, railway: Railway) -> ReadScript:
    """Read the file of a script."""
    # Messages must tell the two files apart.
    name = str(path) if path.name in c.program.texts else path.name
    texts = dict(c.program.texts)
    missing = Collector()
    text = read_text(path, name, Span(name, 1, 1, 1, 2), missing, texts, "script")
    if text is None:
        return ReadScript((), missing.result(), texts)
    texts[name] = text
    return ReadScript(*read_script(text, name, railway), texts)
