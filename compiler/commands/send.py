"""The command `send`: a timetable played to a broker, a network line or a serial line."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from msgspec.structs import replace
from rich.text import Text

from bellcrank.commands.asking import typed
from bellcrank.commands.caller import caller
from bellcrank.commands.dialogue import (
    Log,
    Typist,
    begun,
    show_plan,
    tell_end,
)
from bellcrank.commands.earlier_runs import entries_of, nothing_stands_against
from bellcrank.commands.exit_statuses import FAULTY, STOPPED, status
from bellcrank.commands.identifier_file import identifiers_beside
from bellcrank.commands.messages import TextOf, steps_of, target_for
from bellcrank.commands.reports import told_at_the_end
from bellcrank.commands.routeless import (
    RoutelessError,
    asked_in_place_of_a_route,
    contradiction,
    without_route,
)
from bellcrank.commands.sending_start import checked, refused
from bellcrank.compilation import Broken, Checked
from bellcrank.diagnostics import Collector, Diagnostic, has_errors
from bellcrank.document.build_document import build_document
from bellcrank.document.part import Part
from bellcrank.document.report_data import diagnostics_data
from bellcrank.document.sending_data import Attempt, Plan, Sending, outcome_data, plan_data
from bellcrank.emit.description import TargetError
from bellcrank.emit.options import OptionError, split
from bellcrank.emit.target import Target
from bellcrank.routes.route_model import RouteTable
from bellcrank.routes.route_naming import COMMAND_LINE, asked_refs, asked_routes, report_number
from bellcrank.routes.sentences import listed
from bellcrank.sending.links import LinkError, open_link, require
from bellcrank.sending.log_file import LogError, LogFile
from bellcrank.sending.log_rows import Answered, Ended, Rested
from bellcrank.sending.outcome import Step, UntoldError
from bellcrank.sending.places import Place, PlaceError, read_place
from bellcrank.sending.playing import SystemClock, play
from bellcrank.sending.sent_before import Rest, rest_due, thrown_before
from bellcrank.sending.set_before import SetBefore, against, set_before
from bellcrank.sending.signals_to_stop import Clock
from bellcrank.sending.stopping import Stopping
from bellcrank.terminal.console import print_diagnostics, say, show
from bellcrank.timing.drives_now import DrivesNowError, read_drives_now
from bellcrank.timing.lists import to_cancel, to_set
from bellcrank.timing.pace import PaceError
from bellcrank.timing.timetable_model import Timetable
from bellcrank.version import NOTICE

SENT, REFUSED, BROKEN_OFF = 0, 1, 4
"""Beside FAULTY and STOPPED. REFUSED: also what a refuted layout has."""

_NOTHING_KNOWN = (
    "Nothing is known here of what was sent before: that drives and supplies have had their "
    "rest since then is for you to see to. With --log it is looked up and waited out."
)
_BY_HAND = "nothing was sent: it was stopped by hand"
_CLEAR_CAUTION = "Before anything is sent: no train on the points, no hand near them."


@dataclass(frozen=True, slots=True)
class SendOptions:
    """What was asked for on the command line."""

    file: Path
    route: tuple[str, ...]
    cancel: bool
    start_up: bool
    all_to_stop: bool
    drive: tuple[str, str] | None
    signal: tuple[str, str] | None
    output: tuple[str, str] | None
    drives_now: tuple[str, ...]
    to: str | None
    target: str | None
    option: tuple[str, ...]
    although_unproved: bool
    time_limit: float | None
    live: bool
    yes: bool
    log: Path | None
    json: bool


def send_command(**given: Any) -> int:
    """Run the command; returns the exit status."""
    return send(SendOptions(**given))


class _NotSentError(Exception):
    """Nothing was sent. status: the exit status. sentence: why, without its full stop, if
    it was not told already."""

    def __init__(self, status: int, sentence: str = "") -> None:
        super().__init__(sentence)
        self.status = status
        self.sentence = sentence


@dataclass(slots=True)
class _Told:
    """What `--json` prints, as it becomes known."""

    attempt: Attempt
    plan: Plan | None = None
    sending: Sending | None = None

    def parts(self) -> Iterator[Part]:
        yield self.attempt
        if self.plan is not None and self.sending is not None:
            yield self.plan
            yield self.sending


def send(options: SendOptions) -> int:
    told = _Told(Attempt(status="error", error=None, diagnostics=[]))
    lasts = caller().whole_process
    with Stopping(lasts=lasts) as stop, told_at_the_end(told.parts, json=options.json):
        return _sent(options, told, stop)


def _sent(options: SendOptions, told: _Told, stop: Stopping) -> int:
    """Run the command; told: gets what `--json` prints."""
    try:
        return _send(options, told, stop)
    except _NotSentError as error:
        if error.sentence:
            say(error.sentence)
            told.attempt = replace(told.attempt, error=error.sentence)
        return error.status
    except KeyboardInterrupt:
        # Once commands are sent there is none any more: it is counted there.
        told.attempt = replace(told.attempt, error=_BY_HAND)
        say(_BY_HAND)
        return STOPPED


def _send(options: SendOptions, told: _Told, stop: Stopping) -> int:
    said = _contradiction(options)
    if said:
        raise _NotSentError(FAULTY, said)
    live = options.live or options.yes
    try:
        place = read_place(options.to) if options.to is not None else None
        if place is not None and live:
            require(place)
        target = target_for(options.target, place)
        given = split(options.option, target.options)
    except (PlaceError, LinkError, TargetError, OptionError) as error:
        raise _NotSentError(FAULTY, str(error)) from None
    c = checked(options)
    told.attempt = replace(told.attempt, diagnostics=diagnostics_data(c.diagnostics))
    if isinstance(c, Broken):
        raise _NotSentError(FAULTY)
    told.attempt = replace(told.attempt, status=c.outcome)
    # To put signals to stop is right on any layout, proved or not.
    harmless = options.all_to_stop and status(c) != STOPPED
    ended = None if harmless else refused(options, c)
    if ended is not None:
        raise _NotSentError(ended, _BY_HAND if ended == STOPPED else "")
    known = (c.layout, c.table, c.locking)
    try:
        routeless = without_route(options, c)
    except RoutelessError as error:
        raise _NotSentError(FAULTY, str(error)) from None
    if routeless is not None:
        timetable = routeless
    else:
        text = " ".join(options.route)
        name, found = _route(text, c.table)
        if name is None:
            print_diagnostics(found, {COMMAND_LINE: text})
            told.attempt = Attempt(status="error", error=None, diagnostics=diagnostics_data(found))
            raise _NotSentError(FAULTY)
        try:
            now = read_drives_now(", ".join(options.drives_now), c.layout)
        except DrivesNowError as error:
            raise _NotSentError(FAULTY, f"--drives-now: {error}") from None
        timetable = to_cancel(*known, name) if options.cancel else to_set(*known, name, now)
    try:
        beside = identifiers_beside(options.file, [target], given)
        if has_errors(beside.diagnostics):
            print_diagnostics(beside.diagnostics, dict(beside.texts))
            told.attempt = Attempt(
                status="error", error=None, diagnostics=diagnostics_data(beside.diagnostics)
            )
            raise _NotSentError(FAULTY)
        text_of = TextOf(
            target,
            given,
            build_document(c, target.without),
            with_topic=place is not None and place.kind == "mqtt",
            pinned=beside.pinned,
        )
        steps = steps_of(timetable, c.layout, text_of)
    except TargetError as error:
        raise _NotSentError(FAULTY, str(error)) from None
    told.plan = plan_data(timetable, steps)
    told.sending = Sending(
        target=target.name,
        to=str(place) if place is not None else None,
        live=live,
        rested=None,
        outcome=None,
        notice=NOTICE,
    )
    show_plan(c, timetable, steps, target, place)
    if not live:
        show("\nNothing was sent: this was a dry run. --live sends it, once you have typed its "
             "name; --yes sends it without asking.")  # fmt: skip
        return SENT
    assert place is not None
    if not any(step.message for step in steps):
        raise _NotSentError(FAULTY, "nothing was sent: all that is to be done here is done by hand")
    if options.log is None and any(step.command.device == "drive" for step in steps):
        show(_NOTHING_KNOWN)
    if not options.yes and not _confirmed(timetable):
        raise _NotSentError(REFUSED, "nothing was sent: its name was not typed")
    return _live(options, c, timetable, steps, place, target, told, stop)


def _contradiction(options: SendOptions) -> str:
    """What is wrong with the options, as a sentence; empty if nothing is."""
    of_route = bool(options.route or options.cancel or options.drives_now)
    if said := contradiction(options, with_route=of_route):
        return said
    if not asked_in_place_of_a_route(options) and not options.route:
        return "name the route that is to be set, such as `W1 to T1`, or give --start-up"
    if options.cancel and options.drives_now:
        return "--drives-now says nothing for --cancel: no drive is thrown then"
    if (options.live or options.yes) and options.to is None:
        return "--to must say where to send, such as `--to mqtt://localhost`"
    return ""


# ------------------------------------------------------------------------- parts


def _route(text: str, table: RouteTable) -> tuple[str | None, tuple[Diagnostic, ...]]:
    """The name of the route that words mean, or None with the reason."""
    found = Collector()
    refs = asked_refs(text, table.routes)
    if len(refs) != 1:
        report_number(text, refs, "one route", found)
        return None, found.result()
    routes = asked_routes(refs, table.routes, found)
    return (routes[0].name if routes else None), found.result()


def _confirmed(timetable: Timetable) -> bool:
    """Whether its name is typed."""
    name = timetable.subject
    if any(timed.command.device == "drive" for timed in timetable.commands):
        show(Text(_CLEAR_CAUTION))
    return typed(f"Type `{name}` to send this:") == name


def _live(
    options: SendOptions,
    c: Checked,
    timetable: Timetable,
    steps: Sequence[Step],
    place: Place,
    target: Target,
    told: _Told,
    stop: Stopping,
) -> int:
    assert told.sending is not None
    clock = SystemClock()
    log = Log()
    try:
        file = LogFile(options.log) if options.log is not None else None
        log = Log(file)
        now = datetime.now().astimezone()
        entries = entries_of(file, options.log, now)
        before = thrown_before(entries, now)
        standing: tuple[SetBefore, ...] = ()
        if timetable.what == "set":
            standing = against(timetable.of, set_before(entries), c.table, c.locking)
        if standing and not nothing_stands_against(standing, options.log):
            log.close()
            names = listed(earlier.route for earlier in standing)
            raise _NotSentError(
                REFUSED,
                f"nothing was sent: {names} may still be set; --cancel it first, or --all-to-stop",
            )
        log.record(begun(c, timetable.name, place, target, timetable))
        for earlier in standing:
            said = f"{earlier.route} is over"
            log.record(Answered(True, earlier.route, "released", said))
        rested = _rest(rest_due(c.layout, before, timetable), log, clock)
        told.sending = replace(told.sending, rested=rested)
        link = open_link(place)
        stop.defer()
    except (LinkError, PaceError, LogError, UntoldError) as error:
        raise _not_sent(log, FAULTY, f"nothing was sent: {error}") from None
    except KeyboardInterrupt:
        stop.defer()
        raise _not_sent(log, STOPPED, _BY_HAND) from None
    outcome = play(
        timetable,
        steps,
        link,
        lambda given_up: open_link(place, given_up),
        clock,
        Typist(log, stop),
        log.sent,
        stop,
    )
    acknowledged = link.acknowledges
    became = outcome_data(outcome, log.times, acknowledged)
    told.sending = replace(told.sending, outcome=became)
    tell_end(log, timetable, outcome, place, acknowledged=acknowledged)
    log.close()
    with suppress(OSError, ValueError):
        sys.stdout.flush()
    match outcome.ending:
        case "done":
            return SENT
        case "stopped":
            return STOPPED
    return BROKEN_OFF


def _not_sent(log: Log, status: int, sentence: str) -> _NotSentError:
    """What to tell when it ended before anything was sent; the log has its last row."""
    log.put_down(Ended("not sent", f"{sentence}."))
    log.close()
    return _NotSentError(status, sentence)


def _rest(due: Rest | None, log: Log, clock: Clock) -> int:
    """Wait out the rest that is due; the milliseconds that it took."""
    if due is None:
        return 0
    said = f"waiting {due.milliseconds} ms first: else {due.sentence}."
    log.note(said, Rested(due.milliseconds, due.sentence))
    clock.wait(due.milliseconds)
    return due.milliseconds
