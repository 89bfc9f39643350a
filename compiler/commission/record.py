"""The record of a commissioning: what was asked, what was seen, what follows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from bellcrank.commission.commission_checklist import DriveCheck
from bellcrank.commission.run import (
    NOTHING,
    SKIP,
    Answer,
    DriveFinding,
    RouteFinding,
    Run,
    drive_findings,
    is_whole,
    route_findings,
    to_rewire,
)


def record_text(head: Iterable[str], run: Run, written: Sequence[str]) -> str:
    """The record as text.

    head: what stands at its head. written: what was changed in the layout, in sentences.
    """
    lines = [*head, ""]
    lines += [f"{sentence}." for sentence in summary(run)]
    lines += [f"{sentence}." for sentence in written] or ["Nothing was changed in the layout."]
    if run.checklist.drives:
        lines += ["", "Drives"]
        for drive in drive_findings(run):
            lines += _drive(drive)
    if run.checklist.routes:
        lines += ["", "Routes"]
        for route in route_findings(run):
            lines += _route(route)
    return "\n".join(lines) + "\n"


def summary(run: Run) -> list[str]:
    """What was found, in a few sentences without their full stops."""
    drives = drive_findings(run)
    routes = route_findings(run)
    said = []
    for verdict, what in (
        ("right", "moved as they should"),
        ("wrong way", "moved the wrong way"),
        ("faulty", "faulty"),
        ("not asked", "not asked to the end"),
    ):
        names = [f.drive.name for f in drives if f.verdict == verdict and f.drive.frog is None]
        if names:
            said.append(f"Drives {what}: {', '.join(names)}")
    for verdict, what in (
        ("right", "With the right polarity"),
        ("wrong way", "With the opposite polarity"),
        ("faulty", "Faulty"),
        ("not asked", "Not asked to the end"),
    ):
        names = [f.drive.name for f in drives if f.verdict == verdict and f.drive.frog is not None]
        if names:
            said.append(f"{what}: {', '.join(names)}")
    said += [
        f"REWIRE: swap the two wires that feed the {f.drive.name} at its contact"
        for f in drives
        if f.verdict == "wrong way" and to_rewire(f.drive)
    ]
    if routes:
        stood = sum(f.stands is True for f in routes)
        refused = sum(len(f.refused) for f in routes)
        of = sum(len(f.route.refuses) for f in routes)
        said.append(f"Routes that stood right: {stood} of {len(routes)}")
        said.append(f"Conflicting routes that were refused: {refused} of {of}")
    for f in routes:
        if f.stands is False:
            said.append(f"WRONG: {f.route.name} did not stand right")
        said += [f"WRONG: with {f.route.name} set, {other} was not refused" for other in f.let]
    if not is_whole(run):
        said.append("NOT WHOLE: not everything was asked and answered")
    return said


def _drive(finding: DriveFinding) -> list[str]:
    drive = finding.drive
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


def _route(finding: RouteFinding) -> list[str]:
    route = finding.route
    stands = {True: "stood right", False: "DID NOT STAND RIGHT", None: "not asked"}
    where = ", ".join(f"{drive} {position}" for drive, position in route.positions)
    needs = ", ".join(part for part in (where, f"{route.signal} {route.aspect}") if part)
    lines = [f"  {route.name}  {stands[finding.stands]}  ({needs})"]
    for what, names in (
        ("refused", finding.refused),
        ("NOT REFUSED", finding.let),
        ("not asked", finding.not_asked),
    ):
        if names:
            lines.append(f"      {what}: {', '.join(names)}")
    return lines
