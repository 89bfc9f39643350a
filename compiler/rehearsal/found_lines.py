"""A run that was found, as the lines of a script that leads through it.

First as people would say it: what somebody does, one line each, `wait` where the next needs what
interlocking and drives do first, and `time passes` where it needs a time to be over. These lines
are played, and are taken if they do what the run does and come to what is wished. Where they do
not, each event of the run is told (`shortening.py`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bellcrank.machine.machine_model import Event
from bellcrank.rehearsal.acts import Moment, Outcome, perform
from bellcrank.rehearsal.finding import counts, holds_now
from bellcrank.rehearsal.railway import TAIL, Railway
from bellcrank.rehearsal.retelling import in_short, line_for
from bellcrank.rehearsal.script import Line, Reader
from bellcrank.rehearsal.shortening import Shortening

_LET = ("wait", "time passes")


def lines_of_run(
    railway: Railway, moment: Moment, run: Sequence[Event], conditions: Sequence[Line]
) -> tuple[str, ...]:
    """Lines that lead through a run, from a moment to where all conditions hold."""
    telling = _Telling(railway, moment, conditions)
    if telling.short(run):
        return tuple(telling.told)
    exact = Shortening(railway, moment.state)
    told = [] if moment.long else ["trains are long"]
    return (*told, *exact.lines(run))


def expectations_of(conditions: Sequence[Line]) -> Iterator[str]:
    """What a script expects when it has come to what is wished."""
    for line in conditions:
        if "START" in line.names:
            place, signal = line.names["PLACE"], line.names.get("SIGNAL")
            yield f"expect train in {place}" + (f" before {signal}" if signal else "")
        else:
            yield f"expect {line.text}"


class _Telling:
    """A run that is told as people say it, and played while it is told."""

    def __init__(self, railway: Railway, moment: Moment, conditions: Sequence[Line]) -> None:
        self.told: list[str] = []
        self._railway = railway
        self._conditions = conditions
        self._reader = Reader(railway, "")
        self._moment = moment

    def short(self, run: Sequence[Event]) -> bool:
        """Tell a run; whether that comes to what is wished."""
        if any(event.kind == "uncoupled" for event in run):
            self._say("trains are long")
            done = [e for e in run if counts(self._railway, e) or e.kind in TAIL]
        else:
            self._say("trains are short")
            done = [event for event in run if counts(self._railway, event)]
        return all(map(self._do, done)) and self._come_to_an_end()

    def _say(self, text: str) -> Outcome:
        """Play a line, and tell it unless nothing comes of it."""
        line = self._reader.line(text, 1)
        assert line is not None, text
        outcome = perform(self._railway, self._moment, line)
        if outcome.moment != self._moment and not outcome.refused:
            self.told.append(text)
            self._moment = outcome.moment
        return outcome

    def _do(self, event: Event) -> bool:
        """Tell an event, after what has to come before it."""
        for let in (None, *_LET):
            if let is not None:
                self._say(let)
            for text in self._words(event):
                kept = self._moment, list(self.told)
                outcome = self._say(text)
                names = [s.event.name for s in outcome.steps if s.event.kind not in TAIL]
                if event.kind in TAIL:
                    names = [step.event.name for step in outcome.steps]
                if outcome.good and names == [event.name]:
                    return True
                self._moment, self.told = kept
        return False

    def _words(self, event: Event) -> Iterator[str]:
        able = self._railway.simulator.possible(self._moment.state)
        if event in able:
            yield from in_short(self._railway, self._moment, event)
            yield line_for(self._railway.simulator, event, self._moment.state)

    def _come_to_an_end(self) -> bool:
        for let in (None, *_LET):
            if let is not None:
                self._say(let)
            state = self._moment.state
            if all(holds_now(self._railway, state, line) for line in self._conditions):
                return True
        return False
