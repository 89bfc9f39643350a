"""The record of a commissioning: what was asked, what was seen, what follows."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from bellcrank.commission.checks import DriveCheck
from bellcrank.commission.detecting import (
    CutFound,
    SectionFound,
    always_on,
    cuts_found,
    sections_found,
)
from bellcrank.commission.findings import (
    RouteFinding,
    drive_findings,
    is_whole,
    route_findings,
    state_findings,
)
from bellcrank.commission.questions import NOTHING, SKIP, Answer
from bellcrank.commission.run import Run
from bellcrank.commission.switching import Shown, Switched, to_rewire
from bellcrank.routes.sentences import listed


def record_text(head: Iterable[str], run: Run, written: Sequence[str]) -> str:
    """The record as text.

    head: what stands at its head. written: what was changed in the layout, in sentences.
    """
    lines = [*head, ""]
    lines += [f"{sentence}." for sentence in summary(run)]
    lines += [f"{sentence}." for sentence in written] or ["Nothing was changed in the layout."]
    checklist = run.checklist
    if checklist.drives:
        lines += ["", "Drives"]
        for drive in drive_findings(run):
            lines += _drive(drive)
    if checklist.states:
        lines += ["", "Signals and other outputs"]
        for state in state_findings(run):
            lines += _state(state)
    if checklist.sections:
        lines += ["", "Sections, with one vehicle pushed through"]
        on = always_on(run)
        lines += [f"  with nothing on the track: {listed(on) if on else 'nothing'} reported"]
        lines += [_section(section) for section in sections_found(run)]
    if checklist.cuts:
        lines += ["", "Joints where both rails are cut"]
        lines += [_cut(cut) for cut in cuts_found(run)]
    if checklist.routes:
        lines += ["", "Routes"]
        for route in route_findings(run):
            lines += _route(route)
    return "\n".join(lines) + "\n"


# ------------------------------------------------------------------------ summary


def summary(run: Run) -> list[str]:
    """What was found, in a few sentences without their full stops."""
    said = [*_of_drives(run), *_of_states(run), *_of_sections(run), *_of_cuts(run)]
    said += _of_routes(run)
    if not is_whole(run):
        said.append("NOT WHOLE: not everything was asked and answered")
    return said


def _of_drives(run: Run) -> Iterator[str]:
    drives = drive_findings(run)
    for verdict, what in (
        ("right", "moved as they should"),
        ("wrong way", "moved the wrong way"),
        ("faulty", "faulty"),
        ("not asked", "not asked to the end"),
    ):
        names = [f.check.name for f in drives if f.verdict == verdict and f.check.frog is None]
        if names:
            yield f"Drives {what}: {', '.join(names)}"
    for verdict, what in (
        ("right", "With the right polarity"),
        ("wrong way", "With the opposite polarity"),
        ("faulty", "Faulty"),
        ("not asked", "Not asked to the end"),
    ):
        names = [f.check.name for f in drives if f.verdict == verdict and f.check.frog is not None]
        if names:
            yield f"{what}: {', '.join(names)}"
    for f in drives:
        if f.verdict == "wrong way" and to_rewire(f.check):
            yield f"REWIRE: swap the two wires that feed the {f.check.name} at its contact"


def _of_states(run: Run) -> Iterator[str]:
    found = state_findings(run)
    for device, called in (("signal", "Signals"), ("output", "Outputs")):
        for verdict, what in (
            ("right", "as they should be"),
            ("faulty", "faulty"),
            ("not asked", "not asked to the end"),
        ):
            names = [
                f.check.name for f in found if f.check.device == device and f.verdict == verdict
            ]
            if names:
                yield f"{called} {what}: {', '.join(names)}"
    for f in found:
        if f.verdict == "wrong way":
            yield f"REWIRE: {to_exchange(f)}"


def to_exchange(found: Shown) -> str:
    """Which wires of a signal or output are to be exchanged, without a full stop."""
    states = [asked for asked, _ in found.swapped]
    return (
        f"exchange the wires of {listed(states)} at {found.check.device} {found.check.name}, "
        "or name them the other way in the layout"
    )


def _of_sections(run: Run) -> Iterator[str]:
    if not run.checklist.sections:
        return
    found = sections_found(run)
    for verdict, what in (
        ("right", "reported as they should be"),
        ("other input", "reported on another input"),
        ("not asked", "not asked"),
    ):
        names = [f.check.name for f in found if f.verdict == verdict]
        if names:
            yield f"Sections {what}: {', '.join(names)}"
    on = always_on(run)
    if on:
        yield f"WRONG: with nothing on the track {listed(on)} reported"
    for f in found:
        if f.verdict == "faulty":
            yield f"WRONG: with a vehicle in {f.check.name}: {f.why}"


def _of_cuts(run: Run) -> Iterator[str]:
    found = cuts_found(run)
    if any(f.cut for f in found):
        yield f"Joints that are cut in both rails: {sum(f.cut is True for f in found)}"
    for f in found:
        if f.cut is False:
            yield (
                f"REWIRE: cut both rails between {f.check.inside} and {f.check.outside}, where "
                f"{f.check.fed_by} begins to feed"
            )


def _of_routes(run: Run) -> Iterator[str]:
    routes = route_findings(run)
    if routes:
        stood = sum(f.stands is True for f in routes)
        refused = sum(len(f.refused) for f in routes)
        of = sum(len(f.route.refuses) for f in routes)
        yield f"Routes that stood right: {stood} of {len(routes)}"
        yield f"Conflicting routes that were refused: {refused} of {of}"
    for f in routes:
        if f.stands is False:
            yield f"WRONG: {f.route.name} did not stand right"
        yield from (f"WRONG: with {f.route.name} set, {other} was not refused" for other in f.let)
    barred = [f.route.name for f in routes if f.barred]
    if barred:
        yield f"Not set, as a drive of theirs is faulty: {', '.join(barred)}"


# -------------------------------------------------------------------------- parts


def _drive(finding: Switched) -> list[str]:
    drive = finding.check
    wrong = "THE WRONG WAY" if drive.frog is None else "THE OPPOSITE POLARITY"
    verdict = {"right": "right", "wrong way": wrong, "faulty": "FAULTY"}.get(
        finding.verdict, "not asked to the end"
    )
    why = f": {finding.why}" if finding.why else ""
    now = "  (wired crossed)" if drive.crossed else ""
    return [
        f"  {drive.name}{now}  {verdict}{why}",
        *(_throw(drive, position, answer) for position, answer in finding.seen),
    ]


def _throw(drive: DriveCheck, position: str, answer: Answer) -> str:
    if drive.frog is None:
        return f"      thrown to {position}: {_seen(answer)}"
    by, where = drive.to_throw(position)
    done = f"switched to {position}" if drive.frog.own else f"{by} thrown to {where}"
    seen = "passed over" if answer == SKIP else f"the lamp stays dark at {answer.position}"
    return f"      {done}: {'the lamp lights at both' if answer == NOTHING else seen}"


def _seen(answer: Answer) -> str:
    if answer == NOTHING:
        return "nothing moved"
    return "passed over" if answer == SKIP else f"lay {answer.position}"


def _state(finding: Shown) -> list[str]:
    verdict = {"right": "right", "wrong way": "EXCHANGED", "faulty": "FAULTY"}.get(
        finding.verdict, "not asked to the end"
    )
    why = f": {finding.why}" if finding.why else ""
    nothing = "dark" if finding.check.device == "signal" else "nothing happened"
    words = {"nothing": nothing, "skip": "passed over"}
    return [
        f"  {finding.check.name}  {verdict}{why}",
        *(
            f"      switched to {state}: {words.get(answer.kind, answer.position)}"
            for state, answer in finding.seen
        ),
    ]


def _section(finding: SectionFound) -> str:
    name = finding.check.name
    match finding.verdict:
        case "right":
            at = finding.check.input
            return f"  {name}  right{f', on {at}' if at else ': nothing is reported'}"
        case "other input":
            return f"  {name}  ON ANOTHER INPUT: {finding.to}, not {finding.check.input}"
        case "faulty":
            return f"  {name}  FAULTY: {finding.why}"
        case _:
            return f"  {name}  not asked"


def _cut(finding: CutFound) -> str:
    said = {True: "cut in both rails", False: "NOT CUT IN BOTH RAILS", None: "not asked"}
    check = finding.check
    return f"  {check.inside} and {check.outside}, {check.fed_by}  {said[finding.cut]}"


def _route(finding: RouteFinding) -> list[str]:
    route = finding.route
    stands = {True: "stood right", False: "DID NOT STAND RIGHT", None: "not asked"}
    where = ", ".join(f"{drive} {position}" for drive, position in route.positions)
    needs = ", ".join(part for part in (where, f"{route.signal} {route.aspect}") if part)
    why = f", as {listed(finding.barred)} is faulty" if finding.barred else ""
    lines = [f"  {route.name}  {stands[finding.stands]}{why}  ({needs})"]
    for what, names in (
        ("refused", finding.refused),
        ("NOT REFUSED", finding.let),
        ("not asked", finding.not_asked),
    ):
        if names:
            lines.append(f"      {what}: {', '.join(names)}")
    return lines
