"""Signals put to stop and coils switched off when a list is broken off: over the link that is
open, if it can still be relied on, and else over fresh ones, for a limited time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Protocol

from bellcrank.sending.links import Link
from bellcrank.sending.outcome import Sending, Step

TRIES = 3
"""How often a fresh link is tried, a second apart."""

_LIMIT = 20_000.0
"""Milliseconds after which no more is tried: people can do it by hand."""

_APART = 1000.0
_SLICE = 50.0


class Clock(Protocol):
    """A clock in milliseconds."""

    def now(self) -> float: ...

    def wait(self, milliseconds: float) -> None: ...


Tell = Callable[[Step, Sending], None]
"""Told of each step when it has been sent, and why. Raises UntoldError if it cannot tell."""

Reopen = Callable[[Callable[[], bool]], Link]
"""Makes a fresh link like the one that was lost; gives up when what it is given says so.
Raises LinkError."""


@dataclass(frozen=True, slots=True)
class CoilOn:
    """A coil that is on, or may be. due: when its pulse is over, by the clock."""

    due: float
    step: Step


@dataclass(slots=True)
class ToStop:
    """The signals of a list on their way to stop, and the coils on their way off.

    A coil whose pulse is over goes off before anything else. One whose pulse is not over gets
    the rest of it, while signals go to stop: no drive is left between two positions.

    at_once: whether nothing may be waited for any more. Coils are switched off all the same,
        if a link is open.
    stopped: those that were put to stop, in order.
    coils_on: those that are still to be switched off.
    """

    steps: Sequence[Step]
    reopen: Reopen
    clock: Clock
    tell: Tell
    at_once: Callable[[], bool]
    coils_on: list[CoilOn] = field(default_factory=list)
    stopped: list[Step] = field(default_factory=list)
    cut_short: bool = False

    def put(self, link: Link | None) -> None:
        """Put them to stop, and close the links. link: one that is open, if there is one.
        Raises nothing."""
        end = self.clock.now() + _LIMIT
        try:
            if link is not None:
                with suppress(Exception):  # whatever it is, a fresh link may do better
                    self._over(link)
            for attempt in range(TRIES):
                if not (self._todo() or self.coils_on) or (attempt and not self._waited(end)):
                    break
                with suppress(Exception):
                    self._over(self.reopen(self.at_once))
        except KeyboardInterrupt:
            self.cut_short = True
        self.cut_short = self.cut_short or (self.at_once() and bool(self._todo()))

    @property
    def left(self) -> tuple[Step, ...]:
        """Those that could not be put to stop, or must be by hand."""
        return tuple(s for s in self._wanted() if s not in self.stopped)

    def _wanted(self) -> list[Step]:
        return [s for s in self.steps if s.command.phase == "signals to stop"]

    def _todo(self) -> list[Step]:
        return [s for s in self.left if s.message is not None]

    def _over(self, link: Link) -> None:
        """Send over a link what is still to be sent, as far as it goes, and close it.

        Where nothing is acknowledged, one that was sent before the link was lost counts as
        sent no more than those after it.
        """
        sent: list[Step] = []
        off: list[CoilOn] = []
        try:
            for step in self._todo():
                self._switch_off(link, off, self.clock.now())
                if self.at_once():
                    break
                assert step.message is not None
                link.send(step.message)
                sent.append(step)
                with suppress(Exception):
                    self.tell(step, "put to stop")
                if link.acknowledges:
                    self.stopped.append(step)
            while on := [coil for coil in self.coils_on if coil not in off]:
                due = min(coil.due for coil in on)
                if not self.at_once() and (left := due - self.clock.now()) > 0:
                    self.clock.wait(min(left, _SLICE))
                    continue
                self._switch_off(link, off, due)
            link.settle()
            self.coils_on = [coil for coil in self.coils_on if coil not in off]
            self.stopped += [s for s in sent if s not in self.stopped]
        finally:
            link.close()

    def _switch_off(self, link: Link, off: list[CoilOn], now: float) -> None:
        """Switch off the coils whose pulse is over by then; off: gets them."""
        for coil in [c for c in self.coils_on if c.due <= now and c not in off]:
            assert coil.step.off is not None
            link.send(coil.step.off)
            off.append(coil)
            with suppress(Exception):
                self.tell(coil.step, "switched off")
            if link.acknowledges:
                self.coils_on.remove(coil)

    def _waited(self, end: float) -> bool:
        """Wait for the next try; whether there is time for it."""
        until = min(self.clock.now() + _APART, end)
        while (left := until - self.clock.now()) > 0 and not self.at_once():
            self.clock.wait(min(left, _SLICE))
        return self.clock.now() < end and not self.at_once()
