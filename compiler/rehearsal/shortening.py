"""A run of events told as a script, in lines that do as much at once as they can.

`retelling.py` has a line for each event; here one line, such as `wait`, stands for all that it
does, wherever that is what happens next.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from bellcrank.machine.machine_model import Event, State, changes, possible
from bellcrank.rehearsal.acts import Moment, happens, perform
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.retelling import in_short, line_for
from bellcrank.rehearsal.script import Reader


class Shortening:
    """Tells a run that goes on, a few events at a time.

    moment: how things stand now. Tails follow only when told to, as on the railway itself.
    """

    def __init__(self, railway: Railway, start: State) -> None:
        self._railway = railway
        self._reader = Reader(railway, "")
        self.moment = Moment(start, long=True, begun=True)

    def beginning(self) -> Iterator[str]:
        """The lines that a script of the run begins with."""
        for name, variable in self._railway.machine.variables.items():
            if variable.kind == "drive" and self.moment.state[name] != variable.initial[0]:
                yield f"at first {variable.of} lies {self.moment.state[name]}"
        yield "trains are long"

    def lines(self, run: Sequence[Event]) -> Iterator[str]:
        """Lines that do these events and no others; afterwards they have happened.

        Raises NotPossibleError if an event is not possible.
        """
        at = 0
        while at < len(run):
            text, count = self._longest(run[at:])
            at += count
            yield text

    def _longest(self, run: Sequence[Event]) -> tuple[str, int]:
        railway, event = self._railway, run[0]
        best, most, moment = "", 0, self.moment
        for text in self._candidates(event):
            line = self._reader.line(text, 1)
            assert line is not None, text
            outcome = perform(railway, self.moment, line)
            done = [step.event.name for step in outcome.steps]
            if len(done) > most and self._come_to(run[: len(done)], done, outcome.moment.state):
                best, most, moment = text, len(done), outcome.moment
        if not most:
            step = railway.simulator.do(event, self.moment.state)
            best, most = line_for(railway.simulator, event, self.moment.state), 1
            moment = Moment(step.state, long=True, begun=True)
        self.moment = moment
        return best, most

    def _come_to(self, run: Sequence[Event], done: Sequence[str], state: State) -> bool:
        """Whether these events, in their own order, are those done and lead to the same."""
        if Counter(done) != Counter(event.name for event in run):
            return False
        at = dict(self.moment.state)
        for event in run:
            if not possible(event, at):
                return False
            at |= changes(event, at)
        return at == state

    def _candidates(self, event: Event) -> Iterator[str]:
        match happens(self._railway, event):
            case "of itself":
                yield "wait"
            case "in time":
                yield "time passes"
            case _:
                yield from in_short(self._railway, self.moment, event)
