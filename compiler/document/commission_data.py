"""What a commissioning found, as `commission --json` tells it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal

from bellcrank.commission.detecting import Verdict as SectionVerdict
from bellcrank.commission.detecting import always_on, cuts_found, sections_found
from bellcrank.commission.findings import drive_findings, route_findings, state_findings
from bellcrank.commission.questions import Kind
from bellcrank.commission.run import Run
from bellcrank.commission.switching import Verdict as SwitchedVerdict
from bellcrank.document.layout_types import LegEnd
from bellcrank.document.part import (
    DriveName,
    Name,
    Part,
    PositionName,
    RouteName,
    SectionName,
    Sentence,
    about,
)

Device = Literal["signal", "output"]


class SeenThrow(Part):
    """A throw and what was seen of it."""

    thrown_to: Annotated[PositionName, about("The position that the drive was thrown to.")]
    answer: Annotated[Kind, about("What was answered.")]
    lay: Annotated[PositionName | None, about("Where the drive lay then; null if not seen.")]


class DriveFound(Part):
    """What was found of a drive."""

    name: Annotated[DriveName, about("The name of the drive.")]
    crossed: Annotated[bool, about("Whether the layout has its wires crossed.")]
    verdict: Annotated[SwitchedVerdict, about("Whether it moved as it should.")]
    why: Annotated[Sentence | None, about("Why it is faulty; null if it is not.")]
    seen: Annotated[list[SeenThrow], about("Every throw, in order.")]


class SeenState(Part):
    """What was switched and what was seen of it."""

    switched_to: Annotated[Name, about("The aspect or state that was asked for.", "proceed")]
    answer: Annotated[Kind, about("What was answered.")]
    was: Annotated[Name | None, about("What it showed then; null if nothing.", "stop")]


class StateFound(Part):
    """What was found of a signal, or of an output for something that no route needs."""

    device: Annotated[Device, about("What it is.")]
    name: Annotated[Name, about("Its name.", "H")]
    verdict: Annotated[SwitchedVerdict, about("Whether it showed what it should.")]
    why: Annotated[Sentence | None, about("Why it is faulty; null if it is not.")]
    seen: Annotated[list[SeenState], about("Every command, in order.")]


class SectionFound(Part):
    """What was found of a section while a vehicle was pushed through it."""

    name: Annotated[SectionName, about("The name of the section.")]
    verdict: Annotated[
        SectionVerdict,
        about("`other input`: it was reported, on another input than the layout says."),
    ]
    why: Annotated[Sentence | None, about("Why it is faulty; null if it is not.")]
    heard: Annotated[
        list[Sentence] | None,
        about("The inputs that reported something; null if that was not answered."),
    ]


class CutFound(Part):
    """What was found of a joint where track behind a reverser begins."""

    inside: Annotated[LegEnd, about("The leg behind the reverser.")]
    outside: Annotated[LegEnd, about("The leg beyond the joint.")]
    reverser: Annotated[
        int | None,
        about("The number of the reverser that feeds the inside, from 1, if one does.", 1),
    ]
    district: Annotated[
        Name | None, about("The district of the inside, if there are any.", "NORTH")
    ]
    cut: Annotated[bool | None, about("Whether both rails are cut; null if not answered.")]


class RouteFound(Part):
    """What was found of a route."""

    name: Annotated[RouteName, about("The name of the route.")]
    stands: Annotated[bool | None, about("Whether it stood right; null if not answered.")]
    refused: Annotated[list[RouteName], about("Conflicting routes that were refused.")]
    not_refused: Annotated[list[RouteName], about("Conflicting routes that were not.")]
    not_asked: Annotated[list[RouteName], about("Conflicting routes that were not asked for.")]
    barred: Annotated[
        list[DriveName], about("Its drives that were found faulty, for which it was not set.")
    ]


class Commissioned(Part):
    """What was found, and what was written."""

    drives: Annotated[list[DriveFound], about("Every drive that was to be asked of.")]
    states: Annotated[
        list[StateFound], about("Every signal and other output that was to be asked of.")
    ]
    always_on: Annotated[
        list[Sentence], about("What was reported with nothing on the track: section and input.")
    ]
    sections: Annotated[list[SectionFound], about("Every section that was to be asked of.")]
    cuts: Annotated[list[CutFound], about("Every joint at a reverser that was to be asked of.")]
    routes: Annotated[list[RouteFound], about("Every route that was to be asked of.")]
    changed: Annotated[list[Sentence], about("What was changed in the layout, in sentences.")]
    record: Annotated[str | None, about("The path of the record; null if none was written.")]


CommissionEnding = Literal["right", "wrong", "not whole", "stopped", "error"]
"""`not whole`: nothing wrong was seen, but not everything was asked."""


class CommissionStatus(Part):
    """How a commissioning ended."""

    status: Annotated[
        CommissionEnding,
        about("`not whole`: nothing wrong was seen, but not everything was asked."),
    ]


def commission_data(run: Run, changed: Sequence[str], record: str | None) -> Commissioned:
    """What was found."""
    return Commissioned(
        drives=[
            DriveFound(
                name=f.check.name,
                crossed=f.check.crossed,
                verdict=f.verdict,
                why=f.why or None,
                seen=[
                    SeenThrow(thrown_to=position, answer=answer.kind, lay=answer.position or None)
                    for position, answer in f.seen
                ],
            )
            for f in drive_findings(run)
        ],
        states=[
            StateFound(
                device=f.check.device,
                name=f.check.name,
                verdict=f.verdict,
                why=f.why or None,
                seen=[
                    SeenState(switched_to=state, answer=answer.kind, was=answer.position or None)
                    for state, answer in f.seen
                ],
            )
            for f in state_findings(run)
        ],
        always_on=list(always_on(run)),
        sections=[
            SectionFound(
                name=f.check.name,
                verdict=f.verdict,
                why=f.why or None,
                heard=None if f.heard is None else sorted(map(str, f.heard)),
            )
            for f in sections_found(run)
        ],
        cuts=[
            CutFound(
                inside=LegEnd(element=f.check.inside.element, leg=f.check.inside.leg),
                outside=LegEnd(element=f.check.outside.element, leg=f.check.outside.leg),
                reverser=f.check.reverser,
                district=f.check.district,
                cut=f.cut,
            )
            for f in cuts_found(run)
        ],
        routes=[
            RouteFound(
                name=f.route.name,
                stands=f.stands,
                refused=list(f.refused),
                not_refused=list(f.let),
                not_asked=list(f.not_asked),
                barred=list(f.barred),
            )
            for f in route_findings(run)
        ],
        changed=list(changed),
        record=record,
    )
