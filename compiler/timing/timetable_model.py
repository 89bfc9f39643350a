"""A timetable: commands, each with the time at which it is sent.

Some things no clock tells: that a drive which reports has reported, that a person has
done what is done by hand, that a cancelled route has been released. Those are waits.
A timetable is carried out in its order, and while something is waited for its clock
stands still: all that comes later is then later by as much, and no limit is broken,
for every limit says how much later something must be.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from bellcrank.machine.commands import Command

What = Literal["set", "cancel", "start up", "all to stop", "throw", "show", "switch"]
"""What a timetable does: sets a route, cancels one, or brings the layout to its normal
position from one that is not known; puts all signals to stop, throws one drive, has one signal
show an aspect or switches one output, for no route."""

WaitKind = Literal["report", "confirmation", "release"]
"""Who ends a wait: the drive, which reports; a person, who looks; the interlocking,
which releases the route."""


@dataclass(frozen=True, slots=True)
class Wait:
    """Something that must be known, that no clock tells.

    name: the drive, the signal or the route.
    state: the position, the aspect, or "released".
    """

    kind: WaitKind
    name: str
    state: str
    sentence: str


@dataclass(frozen=True, slots=True)
class Timed:
    """A command and its time. at, until: milliseconds from the start; until then the
    drive moves, or its coil is on. Without a limit both are the same.

    What is done by hand takes as long as it takes: it is not begun before `at`, and
    `until` is the same.
    after: what must be known before it, and so before all that stand after it.
    """

    at: int
    until: int
    command: Command
    after: tuple[Wait, ...] = ()

    @property
    def by_hand(self) -> bool:
        return self.command.how == "by hand"


@dataclass(frozen=True, slots=True)
class Timetable:
    """Commands in the order in which they are carried out.

    of: the route; empty where it is for none.
    total: milliseconds until the last is done and all drives are taken to lie, without
        what is waited for and what is done by hand.
    bound: milliseconds below which no timetable within the limits can be. If it is less
        than the total, a shorter timetable was neither found nor ruled out.
    waits: what must be known at the end, before it counts as done.
    """

    what: What
    of: str
    commands: tuple[Timed, ...]
    total: int
    bound: int
    waits: tuple[Wait, ...] = ()

    @property
    def name(self) -> str:
        """What it does, in words: `set W1 to T1`, `start up`, `throw P1 straight`."""
        if self.what in ("throw", "show", "switch"):
            command = self.commands[-1].command
            return f"{self.what} {command.name} {command.state}"
        return f"{self.what} {self.of}".rstrip()

    @property
    def subject(self) -> str:
        """What must be typed before it is sent: the route, or, where it is for none, all of
        its name."""
        return self.of or self.name

    @property
    def shortest(self) -> bool:
        """Whether no timetable within the limits is shorter."""
        return self.total == self.bound
