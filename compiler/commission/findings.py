"""What was found in a run, all of it."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from bellcrank.commission.checks import RouteCheck
from bellcrank.commission.detecting import (
    always_on,
    cuts_found,
    empty_was_asked,
    sections_found,
)
from bellcrank.commission.questions import YES, Refuses, Stands
from bellcrank.commission.run import Run, barred, faulty_drives
from bellcrank.commission.switching import (
    Shown,
    Switched,
    drives_found,
    states_found,
    to_rewire,
)


@dataclass(frozen=True, slots=True)
class RouteFinding:
    """What was found of a route.

    stands: None if it was not answered.
    barred: its drives that were found faulty, for which it was not set.
    """

    route: RouteCheck
    stands: bool | None
    refused: tuple[str, ...]
    let: tuple[str, ...]
    not_asked: tuple[str, ...]
    barred: tuple[str, ...]


def drive_findings(run: Run) -> tuple[Switched, ...]:
    """What was found of each drive and frog of the checklist."""
    return drives_found(run.checklist.drives, run.answered)


def state_findings(run: Run) -> tuple[Shown, ...]:
    """What was found of each signal and output of the checklist."""
    return states_found(run.checklist.states, run.answered)


def route_findings(run: Run) -> tuple[RouteFinding, ...]:
    """What was found of each route of the checklist."""
    stands: dict[str, bool] = {}
    refusals: dict[str, dict[str, bool]] = defaultdict(dict)
    for question, answer in run.answered:
        if answer.kind not in ("yes", "no"):
            continue
        match question:
            case Stands(route):
                stands[route.name] = answer == YES
            case Refuses(route, other):
                refusals[route.name][other] = answer == YES
    faulty = faulty_drives(run)
    found = []
    for route in run.checklist.routes:
        said_of = refusals[route.name]
        found.append(
            RouteFinding(
                route,
                stands.get(route.name),
                tuple(o for o in route.refuses if said_of.get(o) is True),
                tuple(o for o in route.refuses if said_of.get(o) is False),
                tuple(o for o in route.refuses if o not in said_of),
                barred(route, faulty),
            )
        )
    return tuple(found)


def changes(run: Run) -> dict[str, bool]:
    """Of each drive that moved the wrong way, whether it is to be called crossed. Of a frog with a
    contact nothing is written: its two feed wires are swapped at the bench."""
    return {
        f.check.name: not f.check.crossed
        for f in drive_findings(run)
        if f.verdict == "wrong way" and not to_rewire(f.check)
    }


def is_sound(run: Run) -> bool:
    """Whether nothing wrong was seen that a change of the layout would not put right."""
    return (
        all(
            f.verdict != "faulty" and not (f.verdict == "wrong way" and to_rewire(f.check))
            for f in drive_findings(run)
        )
        and all(f.verdict in ("right", "not asked") for f in state_findings(run))
        and not always_on(run)
        and all(f.verdict != "faulty" for f in sections_found(run))
        and all(f.cut is not False for f in cuts_found(run))
        and all(f.stands is not False and not f.let for f in route_findings(run))
    )


def is_whole(run: Run) -> bool:
    """Whether everything was asked and answered."""
    return (
        all(f.verdict != "not asked" for f in drive_findings(run))
        and all(f.verdict != "not asked" for f in state_findings(run))
        and empty_was_asked(run)
        and all(f.verdict != "not asked" for f in sections_found(run))
        and all(f.cut is not None for f in cuts_found(run))
        and all(f.stands is not None and not f.not_asked for f in route_findings(run))
    )
