"""What a commissioning found, as `commission --json` tells it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal

from bellcrank.commission.run import Kind, Run, drive_findings, route_findings
from bellcrank.commission.run import Verdict as DriveVerdict
from bellcrank.document.part import DriveName, Part, PositionName, RouteName, Sentence, about


class SeenThrow(Part):
    """A throw and what was seen of it."""

    thrown_to: Annotated[PositionName, about("The position that the drive was thrown to.")]
    answer: Annotated[Kind, about("What was answered.")]
    lay: Annotated[PositionName | None, about("Where the drive lay then; null if not seen.")]


class DriveFound(Part):
    """What was found of a drive."""

    name: Annotated[DriveName, about("The name of the drive.")]
    crossed: Annotated[bool, about("Whether the layout has its wires crossed.")]
    verdict: Annotated[DriveVerdict, about("Whether it moved as it should.")]
    why: Annotated[Sentence | None, about("Why it is faulty; null if it is not.")]
    seen: Annotated[list[SeenThrow], about("Every throw, in order.")]


class RouteFound(Part):
    """What was found of a route."""

    name: Annotated[RouteName, about("The name of the route.")]
    stands: Annotated[bool | None, about("Whether it stood right; null if not answered.")]
    refused: Annotated[list[RouteName], about("Conflicting routes that were refused.")]
    not_refused: Annotated[list[RouteName], about("Conflicting routes that were not.")]
    not_asked: Annotated[list[RouteName], about("Conflicting routes that were not asked for.")]


class Commissioned(Part):
    """What was found, and what was written."""

    drives: Annotated[list[DriveFound], about("Every drive that was to be asked of.")]
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
                name=f.drive.name,
                crossed=f.drive.crossed,
                verdict=f.verdict,
                why=f.why or None,
                seen=[
                    SeenThrow(thrown_to=position, answer=answer.kind, lay=answer.position or None)
                    for position, answer in f.seen
                ],
            )
            for f in drive_findings(run)
        ],
        routes=[
            RouteFound(
                name=f.route.name,
                stands=f.stands,
                refused=list(f.refused),
                not_refused=list(f.let),
                not_asked=list(f.not_asked),
            )
            for f in route_findings(run)
        ],
        changed=list(changed),
        record=record,
    )
