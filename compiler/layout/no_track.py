"""A layout in which no track lies yet: what to write first."""

from __future__ import annotations

from dataclasses import replace

from bellcrank.diagnostics import Collector, Span
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import Program

_WITHOUT_TRACK = (
    t.LayoutLine,
    t.FittingDefinition,
    t.NumberingLine,
    t.DecoderKindLine,
    t.DecoderLine,
    t.SupplyLine,
    t.DetectorKindLine,
    t.DetectorLine,
)


def has_track(program: Program) -> bool:
    """Whether any fitting is declared or any run laid."""
    return bool(program.of((t.Declaration, t.RunLine)))


def without_what_needs_track(program: Program) -> Program:
    """The statements that can be looked at although no track lies there."""
    files = (
        replace(file, statements=tuple(s for s in file.statements if isinstance(s, _WITHOUT_TRACK)))
        for file in program.files
    )
    return Program(tuple(files), program.texts)


def report_no_track(program: Program, found: Collector) -> None:
    """Report that there is none, with lines to write for what is wired."""
    statements = [s for file in program.files for s in file.statements]
    file = program.files[-1].name
    at = statements[0].span if statements else Span(file, 1, 1, 1, 2)
    lines = _lines_for(program)
    found.report(
        "E320",
        "no track lies in this layout yet" if statements else "this layout is empty",
        at,
        expected=f"fittings and runs, such as {' and '.join(f'`{line}`' for line in lines)}",
        hint=None if len(lines) > 1 else "`bellcrank new` writes a first layout",
    )


def _lines_for(program: Program) -> list[str]:
    """The fitting that the first drive belongs to, and a run to it; a run alone without one."""
    for line in program.of(t.DriveLine):
        name = line.drive.element
        if line.drive.drive is not None:
            return [f"double slip {name} with two drives", f"run edge WEST - A - {name}.a1"]
        return [f"points {name}", f"run edge WEST - A - {name}.toe"]
    return ["run edge WEST - A - >H - B - stop"]
