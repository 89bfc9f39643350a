"""What `send` would send, or has sent, as plain data for `--json`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from bellcrank.document.data import Data
from bellcrank.sending.outcome import Outcome, Step
from bellcrank.timing.timetable_model import Timetable, Wait


def plan_data(timetable: Timetable, steps: Sequence[Step]) -> Data:
    """A timetable with what is sent for each of its commands."""
    return {
        "what": timetable.what,
        "route": timetable.of or None,
        "total": timetable.total,
        "commands": [_step(step) for step in steps],
        "waits": [wait.sentence for wait in timetable.waits],
    }


def _step(step: Step) -> Data:
    hand, message = step.message is None, step.message
    return {
        **_named(step),
        "at": None if hand else step.timed.at,
        "until": None if hand else step.timed.until,
        "after": [wait.sentence for wait in step.timed.after],
        "by_hand": hand,
        "only_if_set": list(step.command.only_if_set),
        "topic": message.topic if message else None,
        "text": message.text if message else None,
    }


def outcome_data(outcome: Outcome, times: Sequence[str], acknowledged: bool) -> Data:
    """What became of it.

    times: when each was sent, by the clock on the wall, in order.
    acknowledged: whether the peer said of each that it has it.
    """
    return {
        "ending": outcome.ending,
        "reason": outcome.reason or None,
        "acknowledged": acknowledged,
        "confirmed": [_confirmed(wait) for wait in outcome.confirmed],
        "sent": [{**_named(s), "time": time} for s, time in zip(outcome.sent, times, strict=False)],
        "doubtful": _named(outcome.doubtful) if outcome.doubtful else None,
        "not_sent": _all(outcome.unsent),
        "put_to_stop": _all(outcome.stopped),
        "not_put_to_stop": _all(outcome.left),
        "cut_short": outcome.cut_short,
    }


def _confirmed(wait: Wait) -> Data:
    by = "drive" if wait.kind == "report" else "person"
    return {"name": wait.name, "state": wait.state, "by": by}


def _all(steps: Iterable[Step]) -> list[Data]:
    return [_named(step) for step in steps]


def _named(step: Step) -> Data:
    return {
        "device": step.command.device,
        "name": step.command.name,
        "state": step.command.state,
    }
