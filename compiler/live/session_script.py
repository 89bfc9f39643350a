"""A session of a run that was journalled, as a script of rehearsals.

Played on the machine of the layout it leads through what the railway went through: requests and
what came of them as the journal has it, trains as they must have gone (`inferring.py`). What was
refused is expected to be refused, where the machine by itself would refuse it too: a controller
may refuse more, since it knows no more than was reported.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from bellcrank.live.decisions import Decision
from bellcrank.live.inferring import Inferred, Told
from bellcrank.live.sentences import reported
from bellcrank.live.sessions import Session
from bellcrank.machine.machine_model import possible
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.shortening import Shortening
from bellcrank.running.simulator import NotPossibleError

_ASKED = ("request", "cancel", "confirm passed", "confirm arrived", "thrown by hand")


class SessionScript(NamedTuple):
    """text: of the script. cut_short: where it ends before the session does; empty if it does
    not."""

    text: str
    cut_short: str = ""


def session_script(
    title: str, session: Session, inferred: Inferred, railway: Railway
) -> SessionScript:
    """The script, with comments that say who asked for what and when."""
    lines = [
        f"# {title}, {session.began[:10]}, from {_time(session.began)} to {_time(session.ended)}.",
        "# Requests and reports are from the journal; what trains did between reports is inferred.",
    ]
    telling = Shortening(railway, inferred.start)
    lines += telling.beginning()
    cut_short = ""
    for told in inferred.told:
        try:
            lines += _entry(telling, railway, told)
        except NotPossibleError as error:
            cut_short = f"{_time(told.entry.wall)}, where the machine by itself goes another way"
            lines.append(f"# {cut_short}: {error}.")
            break
    else:
        if inferred.left_over is not None:
            entry = inferred.left_over
            cut_short = f"{_time(entry.wall)}, where nothing was found that trains may have done"
            lines.append(f"# {cut_short} before this: {_what(entry.decision)}.")
        elif session.because:
            lines.append(f"# {_time(session.ended)}: {session.because}.")
    return SessionScript("".join(f"{line}\n" for line in lines), cut_short)


def _entry(telling: Shortening, railway: Railway, told: Told) -> Iterator[str]:
    decision = told.entry.decision
    heard = decision.heard
    if heard.kind == "request" and decision.outcome == "refused":
        yield from _refused(telling, railway, told)
        return
    lines = list(telling.lines(told.events))
    if heard.kind in _ASKED and decision.outcome == "done":
        yield f"# {_time(told.entry.wall)}: {_what(decision)}"
    yield from lines


def _refused(telling: Shortening, railway: Railway, told: Told) -> Iterator[str]:
    decision = told.entry.decision
    yield f"# {_time(told.entry.wall)}: {_what(decision)}; refused: {'; '.join(decision.told)}"
    events = railway.events("request", decision.heard.of)
    if events and not any(possible(event, telling.moment.state) for event in events):
        yield f"expect {decision.heard.of} refused"


def _what(decision: Decision) -> str:
    """What was heard, in few words."""
    heard = decision.heard
    who = heard.who or "somebody"
    match heard.kind:
        case "request":
            return f"{who} asks for {heard.of}"
        case "cancel":
            return f"{who} cancels {heard.of}"
        case "confirm passed":
            return f"{who} says that the train of {heard.of} has passed"
        case "confirm arrived":
            return f"{who} says that the train of {heard.of} has arrived whole"
        case "thrown by hand":
            return f"{who} has thrown {heard.of}"
        case "time over":
            return "a time is over"
        case _:
            return reported(heard)


def _time(wall: str) -> str:
    return wall[11:19]
