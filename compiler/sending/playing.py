"""A timetable played over a link, against a clock that can be replaced.

Late is safe, tight is not: whatever is later than its time makes all that follows later
by as much, so that no pulse, rest or settling time is ever cut short. Whatever ends it
early, a lost link, a person or a mistake of ours, the signals of the list are put to stop
first and what became of each command is told.

Where the pulse of a coil is ended from here, nothing that may last is begun while it is on: no
question is asked, and no run ends, well or badly, before it was tried to switch it off.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Protocol

from bellcrank.machine.commands import Command
from bellcrank.sending.links import Link, LinkError
from bellcrank.sending.outcome import Ending, Outcome, Step, UntoldError
from bellcrank.sending.signals_to_stop import Clock, CoilOn, Reopen, Tell, ToStop
from bellcrank.sending.stopping import Never, StopRequests
from bellcrank.timing.timetable_model import Timetable, Wait

_SLICE = 50.0
"""Milliseconds after which, while time passes, the link is looked at again."""

_AT_ONCE = 2
"""Requests to stop after which nothing is waited for any more."""

_NOBODY = Never()


class SystemClock:
    """The clock of this machine, which nobody can put forward or back."""

    def now(self) -> float:
        return time.monotonic() * 1000

    def wait(self, milliseconds: float) -> None:
        time.sleep(milliseconds / 1000)


class Person(Protocol):
    """Whoever looks at the layout."""

    def by_hand(self, command: Command) -> None:
        """Be told to do something by hand."""

    def confirms(self, wait: Wait) -> bool:
        """Say whether something is so. Waits until it is answered. Raises KeyboardInterrupt
        if somebody asks to stop meanwhile."""


class _NotConfirmedError(Exception):
    pass


class _StoppedError(Exception):
    pass


@dataclass(slots=True)
class _Play:
    timetable: Timetable
    steps: Sequence[Step]
    link: Link
    clock: Clock
    person: Person
    tell: Tell
    stop: StopRequests
    start: float = 0.0
    done: int = 0
    sending: Step | None = None
    closed: bool = False
    coils_on: list[CoilOn] = field(default_factory=list)
    confirmed: dict[tuple[str, str], Wait] = field(default_factory=dict)

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
                if step.off is not None:
                    self.coils_on.append(self._on(step))
            self.done += 1
            self.sending = None
            self.start = self.clock.now() - max(step.timed.at, self._lie(step))
            if step.message is not None:
                self.tell(step, "sent")
        self._until(self.timetable.total)
        self._end_pulses()
        for wait in self.timetable.waits:
            if wait.kind != "release":
                self._ask(wait)
        self.link.settle()

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
                does = "shows" if command.device == "signal" else "lies"
                said = f"somebody confirms that {command.name} {does} {command.state}"
                waits.append(Wait("confirmation", *key, said))
        return waits

    def _ask(self, wait: Wait) -> None:
        self._end_pulses()
        asked = self.clock.now()
        if not self.person.confirms(wait):
            raise _NotConfirmedError(f"nobody confirmed this: {wait.sentence}")
        self.confirmed[wait.name, wait.state] = wait
        self.look()
        # While somebody is waited for, the clock of the timetable stands still.
        self.start += self.clock.now() - asked

    def _until(self, at: float) -> None:
        self._until_clock(self.start + at)

    def _until_clock(self, end: float) -> None:
        """Wait until a time by the clock; pulses that are over by then are ended in theirs."""
        while True:
            over = min((coil.due for coil in self.coils_on), default=math.inf)
            if (left := min(end, over) - self.clock.now()) > 0:
                self.look()
                self.clock.wait(min(left, _SLICE))
            elif over <= self.clock.now():
                self._switch_off(min(self.coils_on, key=lambda coil: coil.due))
            else:
                break
        self.look()

    def _end_pulses(self) -> None:
        """Wait until no coil is on any more."""
        while self.coils_on:
            self._until_clock(max(coil.due for coil in self.coils_on))

    def _on(self, step: Step) -> CoilOn:
        return CoilOn(self.clock.now() + step.timed.until - step.timed.at, step)

    def _switch_off(self, coil: CoilOn) -> None:
        assert coil.step.off is not None
        self.link.send(coil.step.off)
        self.coils_on.remove(coil)
        self.tell(coil.step, "switched off")

    def perhaps_on(self, *, certain: bool) -> list[CoilOn]:
        """The coils that may be on when all is broken off.

        certain: whether what was sent has surely arrived. Else a coil may be on though what
        ends its pulse was sent.
        """
        found = list(self.coils_on)
        done = () if certain else self.steps[: self.done]
        for step in (*done, *((self.sending,) if self.sending else ())):
            if step.off is not None and step not in [coil.step for coil in found]:
                found.append(CoilOn(self.clock.now(), step) if step in done else self._on(step))
        return found

    def look(self) -> None:
        """See whether all may go on."""
        if self.stop.asked:
            raise _StoppedError
        self.link.check()

    def at_once(self) -> bool:
        return self.stop.asked >= _AT_ONCE


def play(
    timetable: Timetable,
    steps: Sequence[Step],
    link: Link,
    reopen: Reopen,
    clock: Clock,
    person: Person,
    tell: Tell,
    stop: StopRequests = _NOBODY,
) -> Outcome:
    """Play a timetable to its end and close the link.

    steps: the commands of the timetable in its order, with what is sent for each.
    """
    playing = _Play(timetable, steps, link, clock, person, tell, stop)

    def whole() -> None:
        playing.run()
        # What is asked for while the link is closed is not too late: no signal stays off
        # when somebody who still saw it going on has asked to stop.
        playing.closed = True
        link.close()
        if stop.asked:
            raise _StoppedError

    return _outcome(playing, whole, reopen)


def play_part(
    timetable: Timetable,
    steps: Sequence[Step],
    link: Link,
    reopen: Reopen,
    clock: Clock,
    person: Person,
    tell: Tell,
    stop: StopRequests = _NOBODY,
) -> Outcome:
    """The same, but at a good end the link stays open for what comes next."""
    playing = _Play(timetable, steps, link, clock, person, tell, stop)
    return _outcome(playing, playing.run, reopen)


def _outcome(playing: _Play, act: Callable[[], None], reopen: Reopen) -> Outcome:
    ending: Ending = "done"
    reason = ""
    try:
        act()
    except LinkError as error:
        ending, reason = "lost", str(error)
    except (_StoppedError, KeyboardInterrupt):
        ending, reason = "stopped", "it was stopped by hand"
    except _NotConfirmedError as error:
        ending, reason = "not confirmed", str(error)
    except UntoldError as error:
        ending, reason = "untold", str(error)
    except Exception as error:
        ending, reason = "failed", f"this went wrong: {type(error).__name__}: {error}"
    doubtful = playing.sending
    first = playing.done + (doubtful is not None)
    begun = ending != "done" and first > 0
    reliable = ending not in ("lost", "failed") and not playing.closed
    coils = playing.perhaps_on(certain=reliable or playing.link.acknowledges) if begun else []
    to_stop = ToStop(playing.steps, reopen, playing.clock, playing.tell, playing.at_once, coils)
    if ending != "done" and not playing.closed and not (begun and reliable):
        with suppress(Exception):
            playing.link.close()
    if begun:
        to_stop.put(playing.link if reliable else None)
    return Outcome(
        ending,
        reason,
        tuple(s for s in playing.steps[: playing.done] if s.message is not None),
        doubtful,
        tuple(playing.steps[first:]),
        tuple(to_stop.stopped),
        to_stop.left if begun else (),
        to_stop.cut_short,
        tuple(playing.confirmed.values()),
        tuple(coil.step for coil in to_stop.coils_on),
    )
