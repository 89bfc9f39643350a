"""What a commissioning found, put into the lines of the layout: `crossed` put in or taken out, and
other inputs for sections. Nothing else is changed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from bellcrank.diagnostics import has_errors
from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.detectors import Input
from bellcrank.layout.frog_model import FrogPart
from bellcrank.layout.layout_model import Layout
from bellcrank.syntax import tree as t
from bellcrank.syntax.insert import Edit, edited, word_out, word_to, words_for
from bellcrank.syntax.load import Program
from bellcrank.syntax.parse import parse

WORD = "crossed"


class NotMendedError(Exception):
    """A layout could not be edited safely; a sentence without its full stop."""


@dataclass(frozen=True, slots=True)
class Mend:
    """What is to be put right in a layout.

    crossed: of drives and frogs, whether they are to be called crossed.
    inputs: of sections, the inputs that they are to be reported on.
    """

    crossed: Mapping[str, bool] = field(default_factory=dict)
    inputs: Mapping[str, Input] = field(default_factory=dict)


def files_to_mend(program: Program, mend: Mend) -> tuple[str, ...]:
    """The files in which the lines stand that are to be changed."""
    return tuple(
        file.name for file in program.files if any(_concerns(s, mend) for s in file.statements)
    )


def _concerns(statement: t.Statement, mend: Mend) -> bool:
    return _wired(statement) in mend.crossed or _reported(statement) in mend.inputs


def _wired(statement: t.Statement) -> str | None:
    """The name of the drive, or of the frog among drives, that a line puts on outputs."""
    match statement:
        case t.DriveLine(drive=drive) if statement.outputs:
            return str(drive)
        case t.FrogWired(frog=frog):
            return FrogPart(frog.element.text, frog.drive.text if frog.drive else "").called
    return None


def _reported(statement: t.Statement) -> str:
    """The section that a line has reported; empty for any other line."""
    match statement:
        case t.ReportLine(what=what, position=None):
            return str(what)
    return ""


def mended(program: Program, name: str, text: str, mend: Mend) -> str:
    """The text of one file with what is to be put right in it.

    text: as it is on the disk, with its line ends.
    Raises NotMendedError if the new text would say anything else that is new.
    """
    source = next(f for f in program.files if f.name == name)
    edits: list[Edit] = []
    wanted: list[t.Statement] = []
    for statement in source.statements:
        new, edit = _put_right(statement, text, mend)
        wanted.append(new)
        edits += edit
    changed = edited(text, edits)
    read, found = parse(changed.replace("\r\n", "\n"), name)
    if has_errors(found) or read != replace(source, statements=tuple(wanted)):
        raise NotMendedError(f"{name} could not be changed without changing more than wiring")
    return changed


def _put_right(
    statement: t.Statement, text: str, mend: Mend
) -> tuple[t.Statement, tuple[Edit, ...]]:
    """A statement as it is to be, with the edits that bring it about."""
    name, section = _wired(statement), _reported(statement)
    if name is not None and isinstance(statement, t.DriveLine | t.FrogWired):
        crossed = mend.crossed.get(name, statement.crossed)
        if crossed != statement.crossed:
            change = word_to if crossed else word_out
            return replace(statement, crossed=crossed), (change(text, statement.span, WORD),)
    if section in mend.inputs and isinstance(statement, t.ReportLine):
        stated = str(mend.inputs[section])
        read, _ = parse(f"report {section} = {stated}", "")
        (line,) = read.statements
        assert isinstance(line, t.ReportLine)
        edit = words_for(text, statement.inlet.span, stated)
        return replace(statement, inlet=line.inlet), (edit,)
    return statement, ()


def layout_mended(program: Program, layout: Layout, mend: Mend) -> Layout:
    """The layout with what is put right in it.

    Raises NotMendedError if inputs would change that are not named: those that the layout
    leaves open are chosen anew when one of them is stated.
    """
    files = [
        parse(mended(program, file.name, program.texts[file.name], mend), file.name)[0]
        for file in program.files
    ]
    changed, found = build_layout(replace(program, files=tuple(files)))
    sections = {name: r.input for name, r in layout.reports.sections.items()}
    now = {name: r.input for name, r in changed.reports.sections.items()}
    same = _other_inputs(changed) == _other_inputs(layout)
    if has_errors(found) or now != sections | dict(mend.inputs) or not same:
        raise NotMendedError(
            "inputs that the layout leaves open would change with it; let "
            "`format --with-numbers --write` state them first"
        )
    return changed


def _other_inputs(layout: Layout) -> object:
    reports = layout.reports
    contacts = [(c.drive, c.position, c.input) for cs in reports.contacts.values() for c in cs]
    addresses = {d.name: d.address for d in reports.detectors.values()}
    return contacts, addresses, list(layout.panel_wires.buttons.values())
