"""Where a layout without signals could have its first: the line to write in place of a run."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from bellcrank.syntax import tree as t
from bellcrank.syntax.formatter import format_statement
from bellcrank.syntax.load import Program

NAME = "H"
"""What the signal is called: a home signal."""


def run_with_signal(program: Program) -> str | None:
    """The first run in which a piece meets a fitting, with a signal between them; None without
    one."""
    for run in program.of(t.RunLine):
        for at, rightwards in _joints(run):
            signal = t.SignalHere(run.span, t.Word(run.span, NAME), rightwards)
            items = (*run.items[:at], signal, *run.items[at:])
            return format_statement(replace(run, items=items))
    return None


def _joints(run: t.RunLine) -> Iterator[tuple[int, bool]]:
    """Before which items of a run trains may wait, and whether they then read rightwards."""
    for at in range(1, len(run.items)):
        pair = run.items[at - 1 : at + 1]
        match pair:
            case (t.Piece(), t.LegHere()):
                yield at, True
            case (t.LegHere(), t.Piece()):
                yield at, False
