"""The command `send`: a timetable played to a broker, a network line or a serial line."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator, Sequence
from contextlib import redirect_stdout
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from msgspec.structs import replace
from rich.text import Text

from bellcrank.commands.dialogue import Log, Typist, report, show_plan, stoppable, typed, what_of
from bellcrank.commands.messages import TextOf, steps_of, target_for
from bellcrank.commands.proving import FAULTY, STOPPED
from bellcrank.commands.sending_start import add_link_options, compiled, heading
from bellcrank.compilation import Compilation
from bellcrank.diagnostics import Collector, Diagnostic
from bellcrank.document.build_document import build_document
from bellcrank.document.part import Part
from bellcrank.document.report_data import diagnostics_data
from bellcrank.document.sending_data import Attempt, Plan, Sending, outcome_data, plan_data
from bellcrank.emit.options import OptionError, split
from bellcrank.emit.target import Target, TargetError
from bellcrank.routes.route_model import RouteTable
from bellcrank.routes.route_naming import COMMAND_LINE, asked_refs, asked_routes, report_number
from bellcrank.sending.links import (
    LinkError,
    Place,
    PlaceError,
    open_link,
    read_place,
    require,
)
from bellcrank.sending.playing import Clock, Step, SystemClock, play
from bellcrank.sending.sent_before import Rest, Thrown, rest_due, thrown_before
from bellcrank.terminal.console import print_diagnostics, print_json, say, show
from bellcrank.terminal.sheet import count
from bellcrank.timing.drives_now import LyingError, read_lying
from bellcrank.timing.lists import to_cancel, to_set, to_start_up
from bellcrank.timing.pace import PaceError
from bellcrank.timing.timetable_model import Timetable
from bellcrank.version import NOTICE

SENT, REFUSED, BROKEN_OFF = 0, 1, 4
"""Beside FAULTY and STOPPED. REFUSED: also what a refuted layout has."""

_EXIT_CODES = """\
exit status:
  0  all was sent; or it was a dry run
  1  nothing was sent: the layout is refuted, or nobody confirmed
  2  nothing was sent: an error in the input, on the command line or of the connection
  3  nothing was sent: the proof is undecided
  4  broken off; what was sent and what was not is said, and the signals of the list were
     put to stop first, if that could be done
130  stopped by Ctrl-C, with the same done and said"""

_DESCRIPTION = """\
Play the commands that set a route, cancel it or start the layout up, each in its time.
Nothing is sent unless --live or --yes is given: without them it is a dry run.

WHERE is one of
  mqtt://HOST[:PORT]              a broker (MQTT 3.1.1); NAME@HOST for one that asks who
                                  it is, with the password in BELLCRANK_PASSWORD
  mqtts://HOST[:PORT][?ca=FILE]   the same over TLS; FILE holds the certificates that vouch
                                  for the broker (default: those that the system trusts)
  tcp://HOST:PORT                 a network line; each command is a line of text
  serial:/dev/ttyX[?baud=9600]    a serial line, likewise; &wait=2000 waits so many
                                  milliseconds after it was opened"""

_NOTHING_KNOWN = (
    "Nothing is known here of what was sent before: that drives and supplies have had their "
    "rest since then is for you to see to. With --log it is looked up and waited out."
)
_CLEAR_CAUTION = "Before anything is sent: no train on the points, no hand near them."


def add_send(commands: Any) -> None:
    """Add the command to those of the command line."""
    parser = commands.add_parser(
        "send",
        help="play the commands of a route over a connection",
        description=_DESCRIPTION,
        epilog="examples:\n"
        "  bellcrank send harbour-terminus.crank W1 to T1 --to mqtt://localhost\n"
        "  bellcrank send harbour-terminus.crank W1 to T1 --to mqtt://localhost --live\n"
        "  bellcrank send harbour-terminus.crank W1 to T1 --cancel --to tcp://10.0.0.7:4000 "
        "--yes\n"
        "  bellcrank send harbour-terminus.crank --start-up --to serial:/dev/ttyUSB0?baud=115200 "
        "--live --log day.txt\n\n" + _EXIT_CODES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="a layout (.crank)")
    parser.add_argument("route", nargs="*", metavar="ROUTE", help="the route, such as W1 to T1")
    parser.add_argument("--cancel", action="store_true", help="cancel the route")
    parser.add_argument(
        "--start-up",
        action="store_true",
        help="in place of a route: all signals to stop, all drives to their first position",
    )
    parser.add_argument(
        "--lying",
        action="append",
        metavar="DRIVES",
        help="where drives lie at present, such as `P1 straight, S1 diverging`: those that lie "
        "right are left alone (default: not known, so all are thrown)",
    )
    add_link_options(parser)
    parser.add_argument(
        "--live", action="store_true", help="send it, after you have typed the route's name"
    )
    parser.add_argument("--yes", action="store_true", help="send it without asking first")
    parser.add_argument(
        "--log",
        type=Path,
        metavar="LOG",
        help="add every line sent to this file, with its time; what was thrown by it shortly "
        "before gets the rest that it still needs. Without it, nobody remembers what was sent "
        "before: leave drives and supplies their rest between two runs",
    )
    parser.add_argument(
        "--json",
        action="store_true",
        help="print the plan, and what became of it, as JSON; all that is told or asked on "
        "the way goes to standard error",
    )
    parser.set_defaults(run=send)


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


def send(options: argparse.Namespace) -> int:
    """Run the command; returns the exit status."""
    told = _Told(Attempt(status="error", error=None, diagnostics=[]))
    if not options.json:
        return _sent(options, told)
    with redirect_stdout(sys.stderr):
        ended = _sent(options, told)
    print_json(*told.parts())
    return ended


def _sent(options: argparse.Namespace, told: _Told) -> int:
    """Run the command; told: gets what `--json` prints."""
    try:
        return _send(options, told)
    except _NotSentError as error:
        if error.sentence:
            say(error.sentence)
            told.attempt = replace(told.attempt, error=error.sentence)
        return error.status


def _send(options: argparse.Namespace, told: _Told) -> int:
    said = _contradiction(options)
    if said:
        raise _NotSentError(FAULTY, said)
    live = options.live or options.yes
    try:
        place = read_place(options.to) if options.to is not None else None
        if place is not None and live:
            require(place)
        target = target_for(options.target, place)
        given = split(options.option or [], target.options)
    except (PlaceError, LinkError, TargetError, OptionError) as error:
        raise _NotSentError(FAULTY, str(error)) from None
    c, ended = compiled(options)
    told.attempt = Attempt(
        status="error" if ended == FAULTY else c.outcome,
        error=None,
        diagnostics=diagnostics_data(c.diagnostics),
    )
    if ended is not None:
        raise _NotSentError(ended)
    assert c.layout and c.table and c.locking
    known = (c.layout, c.table, c.locking)
    if options.start_up:
        timetable = to_start_up(*known)
    else:
        text = " ".join(options.route)
        name, found = _route(text, c.table)
        if name is None:
            print_diagnostics(found, {COMMAND_LINE: text})
            told.attempt = Attempt(status="error", error=None, diagnostics=diagnostics_data(found))
            raise _NotSentError(FAULTY)
        try:
            lying = read_lying(", ".join(options.lying or ()), c.layout)
        except LyingError as error:
            raise _NotSentError(FAULTY, f"--lying: {error}") from None
        timetable = to_cancel(*known, name) if options.cancel else to_set(*known, name, lying)
    text_of = TextOf(
        target, given, build_document(c, target.without), place is not None and place.kind == "mqtt"
    )
    try:
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
    return _live(options, c, timetable, steps, place, target, told)


def _contradiction(options: argparse.Namespace) -> str:
    """What is wrong with the options, as a sentence; empty if nothing is."""
    if options.start_up and (options.route or options.cancel or options.lying):
        return "--start-up is for the whole layout: give no route, --cancel or --lying with it"
    if not options.start_up and not options.route:
        return "name the route that is to be set, such as `W1 to T1`, or give --start-up"
    if options.cancel and options.lying:
        return "--lying says nothing for --cancel: no drive is thrown then"
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
    name = timetable.of or "start up"
    show(Text(_CLEAR_CAUTION))
    return typed(f"Type `{name}` to send this:") == name


def _live(
    options: argparse.Namespace,
    c: Compilation,
    timetable: Timetable,
    steps: Sequence[Step],
    place: Place,
    target: Target,
    told: _Told,
) -> int:
    assert c.layout is not None and told.sending is not None
    clock = SystemClock()
    log = None
    try:
        before = _thrown_before(options.log)
        log = Log(options.log)
        for row in heading(c, f"{what_of(timetable)} to {place}, target {target.name}"):
            log.write(row)
        rested = _rest(rest_due(c.layout, before, timetable), log, clock)
        told.sending = replace(told.sending, rested=rested)
        link = open_link(place)
    except (LinkError, PaceError, OSError, KeyboardInterrupt) as error:
        if log is not None:
            log.close()
        raise _not_sent(error, options.log) from None
    acknowledged = link.acknowledges
    with stoppable():
        outcome = play(
            timetable, steps, link, lambda: open_link(place), clock, Typist(log), log.sent
        )
    became = outcome_data(outcome, log.times, acknowledged)
    told.sending = replace(told.sending, outcome=became)
    try:
        if outcome.ending == "done":
            link.close()
            log.note(f"done: {count(len(outcome.sent), 'command')} sent.")
            for wait in timetable.waits:
                if wait.kind == "release":
                    log.note(f"Wait until {wait.sentence}.")
            return SENT
        # The file may be what failed: then at least the terminal tells.
        if outcome.ending == "untold":
            log.close()
            log = Log(None)
        report(log, outcome, acknowledged=acknowledged)
    finally:
        log.close()
    return STOPPED if outcome.ending == "stopped" else BROKEN_OFF


def _not_sent(error: BaseException, log: Path | None) -> _NotSentError:
    """What to tell when it ended before anything was sent."""
    if isinstance(error, KeyboardInterrupt):
        return _NotSentError(STOPPED, "nothing was sent: it was stopped by hand")
    if isinstance(error, OSError):
        return _NotSentError(
            FAULTY, f"nothing was sent: {log} cannot be written: {error.strerror or error}"
        )
    return _NotSentError(FAULTY, f"nothing was sent: {error}")


def _thrown_before(log: Path | None) -> tuple[Thrown, ...]:
    """What a log says was thrown before. Raises OSError if it is there and cannot be read."""
    if log is None or not log.exists():
        return ()
    with log.open(encoding="utf-8", errors="replace") as stream:
        return thrown_before(stream, datetime.now().astimezone())


def _rest(due: Rest | None, log: Log, clock: Clock) -> int:
    """Wait out the rest that is due; the milliseconds that it took."""
    if due is None:
        return 0
    log.note(f"waiting {due.milliseconds} ms first: else {due.sentence}.")
    with stoppable():
        clock.wait(due.milliseconds)
    return due.milliseconds
