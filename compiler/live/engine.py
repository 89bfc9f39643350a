"""What holds the signal box, its journal and the queues of throws together.

Things are heard in batches. All of one are decided, then written into the journal, and only then
does
anything of it take effect: signals to stop first, then throws as far as supplies allow, and what is
told to people last. No clock is asked and nothing is waited for here, so that the same runs with
real links, with the simulated railway at any speed, and in tests.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Protocol

from bellcrank.live.box import Box
from bellcrank.live.decisions import Decision, Doing, Heard, Light, Show, Throw
from bellcrank.live.pacing import Pacer


class Recorder(Protocol):
    """Whoever keeps what was decided, before it takes effect."""

    def write(self, decisions: Sequence[Decision]) -> None: ...


class Engine:
    """out: is given each thing that is to be done, in its order."""

    def __init__(
        self, box: Box, pacer: Pacer, recorder: Recorder, out: Callable[[Doing], None]
    ) -> None:
        self.box = box
        self.pacer = pacer
        self._recorder = recorder
        self._out = out

    def hear(self, heard: Iterable[Heard], now: float) -> list[Decision]:
        """Take in what has come, and whatever time is over.

        now: milliseconds by the clock of the railway; never less than before.
        """
        decisions = [self.box.decide(each, now) for each in heard]
        decisions += [self.box.decide(each, now) for each in self.box.due(now)]
        for decision in decisions:
            if decision.outcome in ("alarm", "stopped", "started"):
                self.pacer.clear()
            self.pacer.ask(d for d in decision.doing if isinstance(d, Throw))
        begun = self.pacer.ready(now, self._is_meant, self._moves)
        # What a person throws is begun when that person says so.
        sent = [throw for throw in begun if throw.drive not in self.box.by_hand]
        decisions += [self._begin(throw, now) for throw in sent]
        ended = self.pacer.ended(now)
        if decisions:
            self._recorder.write(decisions)
        for pulse in ended:
            self._out(pulse)
        last = {d.signal: d for each in decisions for d in each.doing if isinstance(d, Show)}
        to_stop = [show for show in last.values() if show.aspect == self.box.stop(show.signal)]
        off = [show for show in last.values() if show not in to_stop]
        lamps = {d.route: d for each in decisions for d in each.doing if isinstance(d, Light)}
        doings: list[Doing] = [*to_stop, *begun, *off, *lamps.values()]
        for doing in doings:
            self._out(doing)
        return decisions

    def next_at(self, now: float) -> float | None:
        """When there is something to do though nothing comes in."""
        times = (self.box.next_at(), self.pacer.next_at(now, self._moves))
        return min((at for at in times if at is not None), default=None)

    def _begin(self, throw: Throw, now: float) -> Decision:
        return self.box.decide(Heard("thrown", throw.drive, throw.position), now)

    def _is_meant(self, throw: Throw) -> bool:
        return self.box.goes_to(throw.drive) == throw.position

    def _moves(self, drive: str) -> bool:
        return self.box.goes_to(drive) is not None
