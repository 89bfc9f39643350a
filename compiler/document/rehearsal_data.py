"""What came of the lines of a script, as `rehearse --json` tells it."""

from __future__ import annotations

from typing import Annotated, Literal

from bellcrank.document.machine_types import Actor, EventKind
from bellcrank.document.part import EventName, Name, Part, RouteName, Sentence, about
from bellcrank.document.report_types import Diagnostic
from bellcrank.rehearsal.acts import Outcome
from bellcrank.running.simulator import ACCIDENTS


class UnsafeThing(Part):
    """Something unsafe that an event has brought about."""

    property: Annotated[Sentence, about("The property that is violated.", "meetings")]
    sentence: Annotated[Sentence, about("What is wrong, without its full stop.")]
    accident: Annotated[bool, about("Whether it is an accident by itself.")]


class RehearsedEvent(Part):
    """An event that happened."""

    name: Annotated[EventName, about("Its name in the machine.")]
    kind: EventKind
    actor: Actor
    of: Annotated[Name, about("The name in the layout of what it is about.")]
    route: Annotated[
        RouteName | None, about("The route on whose account it happens; null if there is none.")
    ]
    text: Annotated[Sentence, about("What happens, without its full stop.")]
    unsafe: Annotated[list[UnsafeThing], about("What is unsafe after it.")]


class RehearsedLine(Part):
    """A line of a script and what came of it."""

    line: Annotated[int, about("Its number, from 1.")]
    text: Annotated[str, about("The line as it was written.")]
    events: Annotated[list[RehearsedEvent], about("What happened.")]
    refused: Annotated[list[Sentence], about("Why the act could not be done.")]
    met: Annotated[bool | None, about("Whether an expectation is met; null if the line is none.")]
    found: Annotated[list[Sentence], about("What is the case, where an expectation was checked.")]
    note: Annotated[Sentence | None, about("A remark, if one is due.")]
    good: Annotated[bool, about("Whether all went as the line says and nothing is unsafe.")]


class Rehearsal(Part):
    """What came of a script."""

    status: Annotated[
        Literal["passed", "failed", "error"],
        about("`passed` if every line is good; `error` if the layout or the script has errors."),
    ]
    diagnostics: Annotated[list[Diagnostic], about("What is wrong with the layout or the script.")]
    lines: Annotated[list[RehearsedLine], about("Every line of the script.")]


def line_data(outcome: Outcome) -> RehearsedLine:
    """What came of a line."""
    return RehearsedLine(
        line=outcome.line.span.line,
        text=outcome.line.text,
        events=[
            RehearsedEvent(
                name=step.event.name,
                kind=step.event.kind,
                actor=step.event.actor,
                of=step.event.of,
                route=step.event.route,
                text=step.event.text,
                unsafe=[
                    UnsafeThing(
                        property=invariant.of,
                        sentence=invariant.sentence,
                        accident=invariant.of in ACCIDENTS,
                    )
                    for invariant in step.broken
                ],
            )
            for step in outcome.steps
        ],
        refused=list(outcome.refused),
        met=outcome.met,
        found=list(outcome.found),
        note=outcome.note,
        good=outcome.good,
    )
