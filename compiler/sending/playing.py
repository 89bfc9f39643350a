"""A timetable played over a link, against a clock that can be replaced.

Late is safe, tight is not: whatever is later than its time makes all that follows later
by as much, so that no pulse, rest or settling time is ever cut short. Where the link is
lost or somebody breaks off, the signals of the list are put to stop first.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Literal, Protocol

from bellcrank.machine.commands import Command
from bellcrank.sending.links import Link, LinkError, Message
from bellcrank.timing.timetable_model import Timed, Timetable, Wait

TRIES = 3
"""How often a fresh connection is tried to put signals to stop, a second apart."""

_SLICE = 50.0
"""Milliseconds after which, while time passes, the link is looked at again."""


class Clock(Protocol):
    """A clock in milliseconds."""

    def now(self) -> float: ...

    def wait(self, milliseconds: float) -> None: ...


class SystemClock:
    """The clock of this machine, which nobody can put forward or back."""

    def now(self) -> float:
        return time.monotonic() * 1000

    def wait(self, milliseconds: float) -> None:
        time.sleep(milliseconds / 1000)


@dataclass(frozen=True, slots=True)
class Step:
    """A command with its time and what is sent for it: nothing if it is done by hand."""

    timed: Timed
    message: Message | None

    @property
    def command(self) -> Command:
        return self.timed.command


Ending = Literal["done", "lost", "stopped", "not confirmed", "untold"]
"""`lost`: the link. `stopped`: somebody broke off. `not confirmed`: somebody was asked
and did not say yes. `untold`: what was sent could not be logged any more."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a timetable.

    reason: why it did not end well, as a sentence without its full stop.
    doubtful: what was being sent when it ended; it may or may not have arrived.
    unsent: what was not sent and, by hand, not asked for.
    stopped: signals that were put to stop after it ended badly; left: those that could
        not be, or must be by hand.
    """

    ending: Ending
    reason: str
    sent: tuple[Step, ...]
    doubtful: Step | None
    unsent: tuple[Step, ...]
    stopped: tuple[Step, ...] = ()
    left: tuple[Step, ...] = ()


class Person(Protocol):
    """Whoever looks at the layout."""

    def by_hand(self, command: Command) -> None:
        """Be told to do something by hand."""

    def confirms(self, wait: Wait) -> bool:
        """Say whether something is so. Waits until it is answered."""


Tell = Callable[[Step, str], None]
"""Told of each step when it has been sent, and what became of it. May raise OSError."""


class _NotConfirmedError(Exception):
    pass


@dataclass(slots=True)
class _Play:
    timetable: Timetable
    steps: Sequence[Step]
    link: Link
    clock: Clock
    person: Person
    tell: Tell
    start: float = 0.0
    done: int = 0
    sending: Step | None = None
    confirmed: set[tuple[str, str]] = field(default_factory=set)

    def run(self) -> None:
        self.start = self.clock.now()
        for step in self.steps:
            for wait in (*step.timed.after, *self._overlooked(step)):
                self._ask(wait)
            self._until(max(step.timed.at, self._lie(step)))
            # From here on the clock runs from when this was really done.
            if step.message is None:
                self.person.by_hand(step.command)
            else:
                self.sending = step
                self.link.send(step.message)
            self.done += 1
            self.sending = None
            self.start = self.clock.now() - max(step.timed.at, self._lie(step))
            if step.message is not None:
                self.tell(step, "sent")
        self._until(self.timetable.total)
        for wait in self.timetable.waits:
            if wait.kind != "release":
                self._ask(wait)

    def _lie(self, step: Step) -> int:
        """When the drives before a signal off have moved, whatever its own time says."""
        if step.command.phase != "signals off":
            return 0
        return max((s.timed.until for s in self.steps if s.command.phase == "drives"), default=0)

    def _overlooked(self, step: Step) -> list[Wait]:
        """What was done by hand must be confirmed before the next phase, and a timetable
        that does not ask for it is not to be relied on."""
        waits = []
        for earlier in self.steps[: self.done]:
            command = earlier.command
            key = (command.name, command.state)
            known = key in self.confirmed or any((w.name, w.state) == key for w in step.timed.after)
            if earlier.message is None and command.phase != step.command.phase and not known:
                does = "lies" if command.device == "drive" else "shows"
                said = f"somebody confirms that {command.name} {does} {command.state}"
                waits.append(Wait("confirmation", *key, said))
        return waits

    def _ask(self, wait: Wait) -> None:
        asked = self.clock.now()
        if not self.person.confirms(wait):
            raise _NotConfirmedError(f"nobody confirmed this: {wait.sentence}")
        self.confirmed.add((wait.name, wait.state))
        self.link.check()
        # While somebody is waited for, the clock of the timetable stands still.
        self.start += self.clock.now() - asked

    def _until(self, at: float) -> None:
        while (left := self.start + at - self.clock.now()) > 0:
            self.link.check()
            self.clock.wait(min(left, _SLICE))
        self.link.check()


def play(
    timetable: Timetable,
    steps: Sequence[Step],
    link: Link,
    reopen: Callable[[], Link],
    clock: Clock,
    person: Person,
    tell: Tell,
) -> Outcome:
    """Play a timetable. At a good end the link stays open, else it is closed.

    steps: the commands of the timetable in its order, with what is sent for each.
    reopen: makes a fresh link like the one that was lost; may raise LinkError.
    """
    playing = _Play(timetable, steps, link, clock, person, tell)
    ending: Ending = "done"
    reason = ""
    try:
        playing.run()
    except LinkError as error:
        ending, reason = "lost", str(error)
    except KeyboardInterrupt:
        ending, reason = "stopped", "it was stopped by hand"
    except _NotConfirmedError as error:
        ending, reason = "not confirmed", str(error)
    except OSError as error:
        ending, reason = "untold", f"what is sent cannot be logged: {error.strerror or error}"
    doubtful = playing.sending
    first = playing.done + (doubtful is not None)
    stopped: tuple[Step, ...] = ()
    left: tuple[Step, ...] = ()
    if ending != "done" and first:
        stopped, left = _to_stop(playing, reopen, fresh=ending == "lost")
    elif ending != "done":
        link.close()
    return Outcome(
        ending,
        reason,
        tuple(s for s in steps[: playing.done] if s.message is not None),
        doubtful,
        tuple(steps[first:]),
        stopped,
        left,
    )


def _to_stop(
    playing: _Play, reopen: Callable[[], Link], *, fresh: bool
) -> tuple[tuple[Step, ...], tuple[Step, ...]]:
    """Put the signals of the list to stop; those that were, and those that were not.

    fresh: whether a fresh link is needed from the start.
    """
    wanted = [s for s in playing.steps if s.command.phase == "signals to stop"]
    todo = [s for s in wanted if s.message is not None]
    stopped: list[Step] = []
    link: Link | None = playing.link
    try:
        for attempt in range(TRIES + 1):
            if not todo:
                break
            try:
                if fresh and link is not None:
                    link.close()
                    link = None
                if link is None:
                    if attempt > 1:
                        playing.clock.wait(1000)
                    link = reopen()
                while todo:
                    assert todo[0].message is not None
                    link.send(todo[0].message)
                    stopped.append(todo.pop(0))
                    with suppress(OSError):
                        playing.tell(stopped[-1], "sent, to put it to stop")
            except LinkError:
                fresh = True
    except KeyboardInterrupt:
        pass  # Asked a second time, it ends at once; what is left is told.
    if link is not None:
        link.close()
    return tuple(stopped), tuple(s for s in wanted if s not in stopped)
