"""Which input reports what: sections and the contacts of drives.

An input reports one thing. A drive of which the contacts tell each position is detected,
whether its `drive` line says so or not.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from bellcrank.diagnostics import Noun, did_you_mean
from bellcrank.layout.declared_names import Names, work_named
from bellcrank.layout.detectors import Contact, DetectorInput, Reports, SectionReport
from bellcrank.layout.input_board import Board
from bellcrank.layout.layout_model import Drive, Element, Leg, Section, TrackEnd, Work
from bellcrank.layout.wiring import find_drive
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import Program

FEWEST_ALIKE = 3
"""Sections at one detector from which on one that differs from all the others is odd."""

SECTION_OR_DRIVE = Noun("a", "section or drive")


@dataclass(frozen=True, slots=True)
class Railway:
    """What can be reported: the track with its sections and drives, by name."""

    elements: Mapping[str, Element]
    sections: Mapping[str, Section]
    section_of: Mapping[str, str]
    drives: Mapping[str, Drive]
    drive_of: Mapping[Work, str]
    joined: Mapping[Leg, TrackEnd]

    @property
    def reportable(self) -> tuple[str, ...]:
        """The names of all sections and drives, each once."""
        return tuple(dict.fromkeys((*self.sections, *map(str, self.drive_of))))


def build_reports(program: Program, railway: Railway, board: Board) -> tuple[Reports, Railway]:
    """What each `report` line says, and the railway in which every drive that its contacts tell of
    is detected."""
    sections: dict[str, SectionReport] = {}
    contacts: dict[str, dict[str, Contact]] = {}
    errors = board.names.found.errors
    for line in program.of(t.ReportLine):
        if line.position is None:
            _enter_section(line, sections, program, railway, board)
        else:
            _enter_contact(line, line.position, contacts, railway, board)
    ordered = {}
    drives = dict(railway.drives)
    for name, drive in railway.drives.items():
        if contacts.get(name):  # none, where an input that was meant is faulty
            said = contacts[name]
            ordered[name] = tuple(said[p] for p in drive.positions if p in said)
            if tells(drive.positions, ordered[name]):
                drives[name] = replace(drive, detected=True)
    railway = replace(railway, drives=drives)
    reports = Reports(board.detectors, sections, ordered)
    # What a faulty line was meant to report is not missing.
    if board.names.found.errors == errors:
        _warn_of_contacts(reports, railway, board.names)
        _warn_of_gaps(reports, railway, board.names)
        _warn_of_opening(reports, board.names)
    return reports, railway


def _enter_section(
    line: t.ReportLine,
    said: dict[str, SectionReport],
    program: Program,
    railway: Railway,
    board: Board,
) -> None:
    names = board.names
    word = line.what.element
    name = word.text
    taken = board.take(name, line.inlet)
    if line.what.drive is not None:
        drive = find_drive(line.what, railway.drives, railway.drive_of, names)
        if drive is not None:
            _report_no_position(line, drive, names)
        return
    section = railway.sections.get(name)
    if section is None:
        _report_no_section(line, railway, names)
        return
    if not section.detected:
        _report_undetected(line, section, program, names)
        return
    if name in said:
        names.found.report(
            "E462",
            f"{name} is reported twice",
            word.span,
            expected="one input for each section",
            hint="join the detectors of one section to one input, or divide the section",
            related=[(said[name].span, "reported here first")],
        )
        return
    if taken is not None:
        said[name] = SectionReport(name, taken, line.span, line.opens)


def _report_no_position(line: t.ReportLine, drive: Drive, names: Names) -> None:
    first = drive.positions[0]
    names.found.report(
        "E464",
        f"{line.what} is a drive, and the line does not say which of its positions is reported",
        line.what.span,
        expected=f"one of {', '.join(drive.positions)} after the name",
        hint=f"write `report {line.what} {first} = {line.inlet}`",
    )


def _report_no_section(line: t.ReportLine, railway: Railway, names: Names) -> None:
    """Report a name that is no section's: that of a drive, of a piece in a section, or of none."""
    name = line.what.element.text
    around = railway.section_of.get(name)
    drive = railway.drives.get(railway.drive_of.get(work_named(line.what), ""))
    if around is None:
        names.unknown(line.what.element, SECTION_OR_DRIVE, railway.reportable)
        return
    names.found.report(
        "E464",
        f"{name} lies in the section {around}, which is reported as one",
        line.what.span,
        expected=f"the section, or a position of the drive, such as `{name} {drive.positions[0]}`"
        if drive
        else "the name of a section",
        hint=f"write `report {around} = {line.inlet}`",
    )


def _report_undetected(
    line: t.ReportLine, section: Section, program: Program, names: Names
) -> None:
    own = next((s for s in program.of(t.SectionLine) if s.name.text == section.name), None)
    whole = program.of(t.LayoutLine)
    at = own if own is not None and own.without_detection else whole[0] if whole else None
    names.found.report(
        "E463",
        f"{section.name} is without detection, and here an input reports it",
        line.what.span,
        expected="a section that is detected",
        hint=f"take `without detection` out of the line `section {section.name} = …`"
        if at is own
        else "take `without detection` out of the `layout` line, and say it of the sections "
        "that have no detector",
        related=[(at.span, "said to be without detection here")] if at else (),
    )


def _enter_contact(
    line: t.ReportLine,
    word: t.Word,
    said: dict[str, dict[str, Contact]],
    railway: Railway,
    board: Board,
) -> None:
    names = board.names
    taken = board.take(f"{line.what} {word}", line.inlet)
    name = line.what.element.text
    element = railway.elements.get(name)
    section = name if element is None else railway.section_of[name]
    if section not in railway.sections:
        names.unknown(line.what.element, SECTION_OR_DRIVE, railway.reportable)
        return
    if line.what.drive is None and (element is None or not element.kind.drives):
        names.found.report(
            "E464",
            f"{name} has no drive, and so no position `{word}`",
            word.span,
            hint=f"write `report {section} = {line.inlet}`: the input is on while {section} is "
            "occupied",
        )
        return
    drive = find_drive(line.what, railway.drives, railway.drive_of, names)
    if drive is None:
        return
    if work_named(line.what) != drive.works[0]:
        names.found.report(
            "E464",
            f"{line.what} is coupled to {drive.name} and reported with it",
            line.what.span,
            hint=f"report {drive.name} alone, and join the contacts of both in series, so that "
            "both must lie right",
        )
        return
    if word.text not in drive.positions:
        names.found.report(
            "E465",
            f"{line.what} has no position `{word}`",
            word.span,
            expected=" or ".join(drive.positions),
            hint=did_you_mean(word.text, drive.positions),
        )
        return
    of_it = said.setdefault(drive.name, {})
    if word.text in of_it:
        names.found.report(
            "E462",
            f"{drive.name} {word} is reported twice",
            line.what.span.to(word.span),
            expected="one input for each position",
            related=[(of_it[word.text].span, "reported here first")],
        )
        return
    if taken is not None:
        of_it[word.text] = Contact(drive.name, word.text, taken, line.span, line.opens)


def tells(positions: Iterable[str], contacts: Iterable[Contact]) -> bool:
    """Whether contacts tell each position: there is one for each, or for one of two."""
    of_them, have = set(positions), {contact.position for contact in contacts}
    return have == of_them or (len(of_them) == 2 and len(have) == 1)


def _warn_of_contacts(reports: Reports, railway: Railway, names: Names) -> None:
    """Warn of drives of which the contacts do not tell where they lie."""
    for name, contacts in reports.contacts.items():
        positions = railway.drives[name].positions
        if tells(positions, contacts):
            continue
        missing = [p for p in positions if p not in {c.position for c in contacts}]
        names.found.report(
            "W842",
            f"{name} has {len(positions)} positions and contacts for {len(contacts)} of them: "
            f"while none is on, it may lie {' or '.join(missing)} or be moving",
            contacts[0].span,
            hint=f"add `report {name} {missing[0]} = …`",
        )


def _warn_of_gaps(reports: Reports, railway: Railway, names: Names) -> None:
    """Warn of what is detected and not reported, while its like is."""
    silent = [
        s.name for s in railway.sections.values() if s.detected and s.name not in reports.sections
    ]
    if reports.sections and silent:
        names.found.report(
            "W840",
            f"no input reports {_some(silent)}, while other sections are reported",
            next(iter(reports.sections.values())).span,
            hint=f"add `report {silent[0]} = …`, or make it part of a section `without detection`",
        )
    mute = [
        d.name for d in railway.drives.values() if d.detected and d.name not in reports.contacts
    ]
    if reports.contacts and mute:
        names.found.report(
            "W841",
            f"no input reports where {_some(mute)} lies, which is `detected`"
            if len(mute) == 1
            else f"no input reports where {_some(mute)} lie, which are `detected`",
            next(iter(reports.contacts.values()))[0].span,
            hint=f"add `report {mute[0]} {railway.drives[mute[0]].positions[0]} = …`",
        )


def _warn_of_opening(reports: Reports, names: Names) -> None:
    """Warn of an input that opens, or does not, unlike all that are wired like it: the contacts of
    one drive, and the sections at one detector."""
    for name, contacts in reports.contacts.items():
        if len({contact.opens for contact in contacts}) > 1:
            odd = next(contact for contact in contacts if contact.opens)
            names.found.report(
                "W850",
                f"of the contacts of {name} only some open, {odd.position} among them: while it "
                "is moving, one input says that it lies nowhere and another that it lies there",
                odd.span,
                hint="write `opens` for each of its contacts, or for none",
            )
    at: dict[str, list[SectionReport]] = defaultdict(list)
    for report in reports.sections.values():
        if isinstance(report.input, DetectorInput):
            at[report.input.detector].append(report)
    for detector, said in at.items():
        opening = [report for report in said if report.opens]
        closing = [report for report in said if not report.opens]
        if len(said) < FEWEST_ALIKE or 1 not in (len(opening), len(closing)):
            continue
        (one,) = opening if len(opening) == 1 else closing
        line = f"`report {one.section} = {one.input}{'' if one.opens else ' opens'}`"
        names.found.report(
            "W850",
            f"of the {len(said)} sections at {detector}, {one.section} is the only one of which "
            f"the input {'opens' if one.opens else 'does not open'}",
            one.span,
            hint=f"write {line}, or {'say `opens`' if one.opens else 'take `opens` out'} of all",
        )


def _some(names: list[str]) -> str:
    shown = ", ".join(names[:6])
    return shown + (f" and {len(names) - 6} more" if len(names) > 6 else "")
