"""`crossed` put into the lines of drives and frogs, or taken out, and nothing else changed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from bellcrank.diagnostics import has_errors
from bellcrank.layout.frog_model import FrogPart
from bellcrank.syntax import tree as t
from bellcrank.syntax.insert import Edit, edited, word_out, word_to
from bellcrank.syntax.load import Program
from bellcrank.syntax.parse import parse

WORD = "crossed"


class NotCrossedError(Exception):
    """A layout could not be edited safely; a sentence without its full stop."""


def files_with(program: Program, changes: Mapping[str, bool]) -> tuple[str, ...]:
    """The files in which the drive lines of these drives stand."""
    return tuple(
        file.name for file in program.files if any(_wired(s) in changes for s in file.statements)
    )


def _wired(statement: t.Statement) -> str | None:
    """The name of the drive, or of the frog among drives, that a line puts on outputs."""
    match statement:
        case t.DriveLine(drive=drive) if statement.outputs:
            return str(drive)
        case t.FrogWired(frog=frog):
            return FrogPart(frog.element.text, frog.drive.text if frog.drive else "").called
    return None


def with_crossed(program: Program, name: str, text: str, changes: Mapping[str, bool]) -> str:
    """The text of one file with `crossed` put in or taken out.

    text: as it is on the disk, with its line ends.
    Raises NotCrossedError if the new text would say anything else that is new.
    """
    source = next(f for f in program.files if f.name == name)
    edits: list[Edit] = []
    wanted: list[t.Statement] = []
    for statement in source.statements:
        new = statement
        name_of = _wired(statement)
        if name_of is not None and isinstance(statement, t.DriveLine | t.FrogWired):
            crossed = changes.get(name_of, statement.crossed)
            if crossed != statement.crossed:
                change = word_to if crossed else word_out
                edits.append(change(text, statement.span, WORD))
                new = replace(statement, crossed=crossed)
        wanted.append(new)
    changed = edited(text, edits)
    read, found = parse(changed.replace("\r\n", "\n"), name)
    if has_errors(found) or read != replace(source, statements=tuple(wanted)):
        raise NotCrossedError(f"{name} could not be changed without changing more than wiring")
    return changed
