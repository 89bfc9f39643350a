"""What is sent step by step, and what became of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from bellcrank.machine.commands import Command
from bellcrank.sending.links import Message
from bellcrank.timing.timetable_model import Timed, Wait

Sending = Literal["sent", "put to stop", "switched off"]
"""Why something is sent for a step: it is its turn; or all is broken off, and its signal goes to
stop; or the pulse of its coil is over, or cannot go on."""


@dataclass(frozen=True, slots=True)
class Step:
    """A command with its time and what is sent for it: nothing if it is done by hand.

    off: what is sent when its time is over, to end the pulse of a coil; None where whatever
        receives the command ends it.
    """

    timed: Timed
    message: Message | None
    off: Message | None = None

    @property
    def command(self) -> Command:
        return self.timed.command


Ending = Literal["done", "lost", "stopped", "not confirmed", "untold", "failed"]
"""`lost`: the link. `stopped`: somebody broke off. `not confirmed`: somebody was asked
and did not say yes. `untold`: what was sent could not be logged or shown any more.
`failed`: a mistake in this program, or something nobody thought of."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a timetable.

    reason: why it did not end well, as a sentence without its full stop.
    doubtful: what was being sent when it ended; it may or may not have arrived.
    unsent: what was not sent and, by hand, not asked for.
    stopped: signals that were put to stop after it ended badly; left: those that could
        not be, or must be by hand.
    left_on: whose coils may still be on, as what ends their pulses could not be sent.
    cut_short: whether putting signals to stop was itself broken off by a second request.
    confirmed: what somebody confirmed, in order.
    """

    ending: Ending
    reason: str
    sent: tuple[Step, ...]
    doubtful: Step | None
    unsent: tuple[Step, ...]
    stopped: tuple[Step, ...] = ()
    left: tuple[Step, ...] = ()
    cut_short: bool = False
    confirmed: tuple[Wait, ...] = ()
    left_on: tuple[Step, ...] = ()


class UntoldError(Exception):
    """What is done cannot be told any more, as a sentence without its full stop."""
