"""What `send` would send, or has sent, as `send --json` tells it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Annotated, Literal

from bellcrank.document.command_data import device_of
from bellcrank.document.command_types import Device, What
from bellcrank.document.part import Name, Part, RouteName, Sentence, Time, about
from bellcrank.document.report_types import Diagnostic, StatusWord
from bellcrank.sending.outcome import Ending, Outcome, Step
from bellcrank.timing.timetable_model import Timetable, Wait


class Attempt(Part):
    """How far an attempt to send has come."""

    status: Annotated[StatusWord, about("What came of the proof.")]
    error: Annotated[Sentence | None, about("Why nothing was sent; null if nothing hindered it.")]
    diagnostics: Annotated[list[Diagnostic], about("What is wrong with the source.")]


class NamedCommand(Part):
    """A command by what it is sent to."""

    device: Annotated[Device, about("What it is sent to.")]
    name: Annotated[Name, about("The name of the signal or drive.")]
    state: Annotated[Name, about("The aspect or the position.")]


class SentCommand(NamedCommand):
    """A command that was sent."""

    time: Annotated[str, about("When, by the clock on the wall.")]


class PlannedCommand(NamedCommand):
    """A command with what is sent for it."""

    at: Annotated[Time | None, about("When, in milliseconds from the start; null by hand.")]
    until: Annotated[
        Time | None, about("Until then, in milliseconds, it is carried out; null by hand.")
    ]
    after: Annotated[list[Sentence], about("What is waited for before it.")]
    by_hand: Annotated[bool, about("Whether a person carries it out.")]
    only_if_set: Annotated[
        list[RouteName], about("It is meant only while one of these is set; empty: always.")
    ]
    topic: Annotated[str | None, about("The topic under which a broker gets it; null without.")]
    text: Annotated[str | None, about("What is sent; null by hand.")]
    off: Annotated[
        str | None,
        about("What is sent at `until` to end the pulse of a coil; null where nothing is."),
    ]


class Confirmed(Part):
    """Something that was waited for and is known."""

    name: Annotated[Name, about("The name of the drive, the signal or the route.")]
    state: Annotated[Name, about("The position, the aspect, or `released`.")]
    by: Annotated[Literal["drive", "person"], about("Who has told it.")]


class Plan(Part):
    """A timetable with what is sent for each of its commands."""

    what: What
    route: Annotated[RouteName | None, about("The name of the route; null where it is for none.")]
    total: Annotated[Time, about("Milliseconds until all drives are taken to lie.")]
    commands: Annotated[list[PlannedCommand], about("In their order.")]
    waits: Annotated[list[Sentence], about("What is waited for at the end.")]


class OutcomeTold(Part):
    """What became of what was to be sent."""

    ending: Annotated[Ending, about("How it ended.")]
    reason: Annotated[Sentence | None, about("Why it did not end well; null if it did.")]
    acknowledged: Annotated[bool, about("Whether the peer said of each that it has it.")]
    confirmed: Annotated[list[Confirmed], about("What somebody confirmed, in order.")]
    sent: Annotated[list[SentCommand], about("What was sent.")]
    doubtful: Annotated[
        NamedCommand | None, about("What was being sent when it ended; null if nothing was.")
    ]
    not_sent: Annotated[list[NamedCommand], about("What was not sent.")]
    put_to_stop: Annotated[
        list[NamedCommand], about("Signals that were put to stop after it ended badly.")
    ]
    not_put_to_stop: Annotated[list[NamedCommand], about("Signals that could not be.")]
    not_switched_off: Annotated[
        list[NamedCommand], about("Drives of which a coil may still be on.")
    ]
    cut_short: Annotated[
        bool, about("Whether putting signals to stop was itself broken off by a second request.")
    ]


class Sending(Part):
    """Where a plan is sent, and what became of it."""

    target: Annotated[str, about("The target whose text is sent.")]
    to: Annotated[str | None, about("Where it is sent; null if nobody said.")]
    live: Annotated[bool, about("Whether it is really sent.")]
    rested: Annotated[
        int | None, about("Milliseconds waited first, to spare drives; null if not sent.")
    ]
    outcome: Annotated[OutcomeTold | None, about("What became of it; null if not sent.")]
    notice: Annotated[Sentence, about("What it may be used for.")]


def plan_data(timetable: Timetable, steps: Sequence[Step]) -> Plan:
    """A timetable with what is sent for each of its commands."""
    return Plan(
        what=timetable.what,
        route=timetable.of or None,
        total=timetable.total,
        commands=[_planned(step) for step in steps],
        waits=[wait.sentence for wait in timetable.waits],
    )


def _planned(step: Step) -> PlannedCommand:
    hand, message, command = step.message is None, step.message, step.command
    return PlannedCommand(
        device=device_of(command),
        name=command.name,
        state=command.state,
        at=None if hand else step.timed.at,
        until=None if hand else step.timed.until,
        after=[wait.sentence for wait in step.timed.after],
        by_hand=hand,
        only_if_set=list(command.only_if_set),
        topic=message.topic if message else None,
        text=message.text if message else None,
        off=step.off.text if step.off else None,
    )


def outcome_data(outcome: Outcome, times: Sequence[str], acknowledged: bool) -> OutcomeTold:
    """What became of it.

    times: when each was sent, by the clock on the wall, in order.
    acknowledged: whether the peer said of each that it has it.
    """
    return OutcomeTold(
        ending=outcome.ending,
        reason=outcome.reason or None,
        acknowledged=acknowledged,
        confirmed=[_confirmed(wait) for wait in outcome.confirmed],
        sent=[
            SentCommand(
                device=device_of(s.command), name=s.command.name, state=s.command.state, time=time
            )
            for s, time in zip(outcome.sent, times, strict=False)
        ],
        doubtful=_named(outcome.doubtful) if outcome.doubtful else None,
        not_sent=_all(outcome.unsent),
        put_to_stop=_all(outcome.stopped),
        not_put_to_stop=_all(outcome.left),
        not_switched_off=_all(outcome.left_on),
        cut_short=outcome.cut_short,
    )


def _confirmed(wait: Wait) -> Confirmed:
    by: Literal["drive", "person"] = "drive" if wait.kind == "report" else "person"
    return Confirmed(name=wait.name, state=wait.state, by=by)


def _all(steps: Iterable[Step]) -> list[NamedCommand]:
    return [_named(step) for step in steps]


def _named(step: Step) -> NamedCommand:
    c = step.command
    return NamedCommand(device=device_of(c), name=c.name, state=c.state)
