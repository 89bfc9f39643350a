"""Numbers that were chosen, written into the text that left them open.

Addresses, outputs and inputs that nobody stated are chosen anew each time, by all that stands in
the text. Stated, they stay whatever is added later. Each goes where it was left out; nothing else
of the text changes, and the layout that comes of it has the same numbers, or nothing is told.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from bellcrank.diagnostics import has_errors
from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.detectors import Detector
from bellcrank.layout.layout_model import Decoder, Layout
from bellcrank.syntax import tree as t
from bellcrank.syntax.insert import Edit, edited, lines_before, words_for
from bellcrank.syntax.load import Program
from bellcrank.syntax.parse import parse


class NotKeptError(Exception):
    """The numbers could not be written without changing more; a sentence without its full stop."""


def files_left_open(program: Program, layout: Layout) -> tuple[str, ...]:
    """The files of a program in which numbers were left open that were chosen.

    Raises NotKeptError if the layout would have other numbers once these are stated.
    """
    names = tuple(
        file.name
        for file in program.files
        if any(True for _ in _edits(file, layout, program.texts[file.name]))
    )
    if names:
        changed = {name: numbered(program, layout, name, program.texts[name]) for name in names}
        if _numbers(_laid_anew(program, changed)) != _numbers(layout):
            raise NotKeptError("the numbers cannot be written without changing some of them")
    return names


def numbered(program: Program, layout: Layout, name: str, text: str) -> str:
    """The text of one file with the numbers that it left open; text: with any line ends."""
    file = next(file for file in program.files if file.name == name)
    return edited(text, _edits(file, layout, text))


def _edits(file: t.SourceFile, layout: Layout, text: str) -> Iterator[Edit]:
    for statement in file.statements:
        yield from _added_before(statement, layout, text)
        if isinstance(statement, t.DecoderLine | t.DetectorLine) and statement.address is None:
            yield from _address(statement, layout, text)
        for left_open in _left_open(statement):
            stated = layout.chosen.get(left_open.span)
            if stated:
                yield words_for(text, left_open.span, ", ".join(map(str, stated)))


def _address(line: t.DecoderLine | t.DetectorLine, layout: Layout, text: str) -> Iterator[Edit]:
    one = (
        layout.hardware.decoders.get(line.name.text)
        if isinstance(line, t.DecoderLine)
        else layout.reports.detectors.get(line.name.text)
    )
    if one is not None and one.address:
        yield words_for(text, line.kind.span, f"{line.kind} at {one.address}")


def _added_before(statement: t.Statement, layout: Layout, text: str) -> Iterator[Edit]:
    """Lines for the decoders and detectors that were added for a statement."""
    opened = {left_open.span for left_open in _left_open(statement)}
    added: list[tuple[str, Decoder | Detector]] = [
        *(("decoder", decoder) for decoder in layout.hardware.decoders.values()),
        *(("detector", detector) for detector in layout.reports.detectors.values()),
    ]
    lines = [
        f"{word} {one.name} {one.kind.name} at {one.address}"
        for word, one in added
        if one.assigned and one.span in opened
    ]
    if lines:
        yield lines_before(text, statement.span, lines)


def _left_open(statement: t.Statement) -> tuple[t.FreeOutput | t.FreeInput, ...]:
    """Where a statement names a kind and leaves the output or input open."""
    named: Iterable[object]
    match statement:
        case t.DriveLine():
            named = statement.outputs
        case t.SignalLine():
            lamps = (lamp.output for aspect in statement.aspects for lamp in aspect.lamps)
            named = (*lamps, statement.output)
        case t.LampLine() | t.FrogWired() | t.OutputLine():
            named = (statement.output,)
        case t.ReportLine() | t.ButtonLine():
            named = (statement.inlet,)
        case _:
            named = ()
    return tuple(each for each in named if isinstance(each, t.FreeOutput | t.FreeInput))


def _laid_anew(program: Program, changed: Mapping[str, str]) -> Layout:
    files = []
    for file in program.files:
        text = changed.get(file.name)
        read, found = (file, ()) if text is None else parse(text.replace("\r\n", "\n"), file.name)
        if has_errors(found):
            raise NotKeptError(f"{file.name} could not be read with its numbers")
        files.append(read)
    layout, found = build_layout(replace(program, files=tuple(files)))
    if has_errors(found):
        raise NotKeptError("the layout has errors once its numbers are written")
    return layout


def _numbers(layout: Layout) -> object:
    """All that stands at the bench: which number is wired to what."""
    hardware, panel = layout.hardware, layout.panel_wires
    return (
        {d.name: (d.kind.name, d.address) for d in hardware.decoders.values()},
        {d.name: (d.kind.name, d.address) for d in layout.reports.detectors.values()},
        {
            name: [wiring.place(k) for k, _ in enumerate(layout.drives[name].positions)]
            for name, wiring in hardware.wirings.items()
            if wiring.outputs
        },
        {signal.name: signal.aspects for signal in layout.signals.values()},
        {name: report.input for name, report in layout.reports.sections.items()},
        {
            (contact.drive, contact.position): contact.input
            for contacts in layout.reports.contacts.values()
            for contact in contacts
        },
        list(panel.lamps.values()),
        {name: (o.output, o.states) for name, o in hardware.outputs.items()},
        list(panel.buttons.values()),
    )
