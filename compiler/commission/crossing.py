"""`crossed` put into the drive lines of a layout, or taken out, and nothing else changed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from bellcrank.diagnostics import has_errors
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
        file.name
        for file in program.files
        if any(isinstance(s, t.DriveLine) and str(s.drive) in changes for s in file.statements)
    )


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
        if isinstance(statement, t.DriveLine) and statement.outputs:
            crossed = changes.get(str(statement.drive), statement.crossed)
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
