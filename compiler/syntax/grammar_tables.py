"""The parser of the layout language, as Lark makes it from `grammar/layout.lark`.

To make the tables of an LALR parser takes Lark a tenth of a second, which is most of the time
in which a small layout is read. They are therefore kept in the user's cache: made anew when
what they were made from has changed, left out where nothing can be written there, and trusted
as far as that folder is. (Beside the grammar they would outlive an uninstalling, and what is
left of a package hides one that is installed as editable.) They begin with two digests: of
what they were made from, and of what follows.
"""

from __future__ import annotations

import hashlib
import io
import os
import sys
from contextlib import suppress
from functools import cache
from importlib import resources
from pathlib import Path

import lark
import platformdirs
from lark import Lark
from lark.lexer import PatternRE, PatternStr, TerminalDef


@cache
def layout_parser() -> Lark:
    """The parser, from tables that were kept or made anew."""
    grammar = resources.files("bellcrank.grammar").joinpath("layout.lark")
    text = grammar.read_text("utf-8")
    try:
        own_source = _own_source()
    except OSError:  # no file to compare
        return _made(text)
    made_from = _digest(text.encode(), lark.__version__.encode(), sys.version.encode(), own_source)
    kept = _place()
    found = _read(kept, made_from)
    if found is not None:
        return found
    parser = _made(text)
    _keep(parser, kept, made_from)
    return parser


def _place() -> Path:
    """Where the tables of this Python are kept."""
    folder = platformdirs.user_cache_path("bellcrank", appauthor=False)
    return folder / f"layout.{sys.implementation.cache_tag}.tables"


def _made(grammar: str) -> Lark:
    return Lark(
        grammar,
        parser="lalr",
        start=["file", "statement"],
        propagate_positions=True,
        maybe_placeholders=True,
        edit_terminals=_whole_words_only,
    )


def _whole_words_only(terminal: TerminalDef) -> None:
    """Let keywords match whole words, so that `derived` is not read as `derive` and `d`."""
    if isinstance(terminal.pattern, PatternStr) and terminal.pattern.value.isalpha():
        terminal.pattern = PatternRE(terminal.pattern.value + r"\b")
        terminal.priority = 1  # before names, where both could stand


def _own_source() -> bytes:
    """This module, which says how the tables are made."""
    return Path(__file__).read_bytes()


def _digest(*parts: bytes) -> bytes:
    digest = hashlib.sha256()
    for part in parts:
        digest.update(len(part).to_bytes(8, "big") + part)
    return digest.digest()


def _read(kept: Path, made_from: bytes) -> Lark | None:
    """The parser that was kept; None if there is none, or it was made from something else."""
    try:
        data = kept.read_bytes()
    except OSError:
        return None
    size = len(made_from)
    tables = data[2 * size :]
    if data[:size] != made_from or data[size : 2 * size] != _digest(tables):
        return None
    return Lark.load(io.BytesIO(tables))


def _keep(parser: Lark, kept: Path, made_from: bytes) -> None:
    """Keep a parser for the next time; whoever reads meanwhile finds the old one or the new."""
    tables = io.BytesIO()
    parser.save(tables)
    own = kept.with_suffix(f".{os.getpid()}")
    with suppress(OSError):
        try:
            kept.parent.mkdir(parents=True, exist_ok=True)
            own.write_bytes(made_from + _digest(tables.getvalue()) + tables.getvalue())
            own.replace(kept)
        finally:
            own.unlink(missing_ok=True)
