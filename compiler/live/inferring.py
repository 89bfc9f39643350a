"""What trains did between the reports of a run that was journalled.

The journal says what came in and when, and so what the controller did. What it says nothing of are
the trains: they are looked for in the machine of controller and railway, as what may have
happened unseen (`running/explaining.py`). Of several ways in which all can have come about the
likeliest is taken: that with the fewest things done by hand.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from bellcrank.controller.controller_model import Reaction
from bellcrank.controller.reactions import Control
from bellcrank.live.box import Box
from bellcrank.live.decisions import Decision
from bellcrank.live.journal import Entry
from bellcrank.live.recalling import again
from bellcrank.live.sessions import Session
from bellcrank.live.unseen import UNLIKELY, ReportsAlone
from bellcrank.machine.machine_model import Event, Machine
from bellcrank.running.explaining import Fitting


@dataclass(frozen=True, slots=True)
class Told:
    """What happened for an entry of the journal: events of the machine alone, in their order."""

    entry: Entry
    events: tuple[Event, ...]


@dataclass(slots=True)
class Inferred:
    """A session with what trains did.

    start: the machine's state when it began, without vehicles. left_over: the entry from which on
    nothing was found that fits, if there is one.
    """

    start: Mapping[str, str]
    told: list[Told] = field(default_factory=list)
    left_over: Entry | None = None


class Inferring:
    """A layout's machine of controller and railway, ready to be held against a journal."""

    def __init__(self, control: Control, together: Machine, alone: Machine) -> None:
        self._together = together
        self._alone = {event.name: event for event in alone.events}
        self._start = alone.start()
        self._number = {event.name: n for n, event in enumerate(together.events)}
        paired = {pair.reaction.name: pair.event for pair in control.paired}
        self._meant = {
            name: self._alone[event.name] for name, event in paired.items() if event is not None
        }
        self._reactions = frozenset(paired)
        self._seen = ReportsAlone(
            together,
            {
                number: UNLIKELY[event.kind]
                for number, event in enumerate(together.events)
                if event.kind in UNLIKELY and event.name not in paired
            },
        )

    def infer(self, session: Session, box: Box) -> Inferred:
        """What happened in a session. box: new, of the same layout."""
        first, *rest = session.entries
        found = Inferred(self._begin(first.decision, box))
        entries = [first]
        for entry in rest:
            done = _reactions(box, entry.decision)
            again(box, entry.decision)
            heard = entry.decision.heard
            occupied = heard.of if heard.kind == "occupied" else None
            if not self._seen.see([self._number[reaction.name] for reaction in done], occupied):
                found.left_over = entry
                break
            entries.append(entry)
        found.told += self._told(entries)
        return found

    def _begin(self, decision: Decision, box: Box) -> Mapping[str, str]:
        """Begin where a start found all; the machine's state, drives lying as reported."""
        assert decision.known is not None
        again(box, decision)
        together = self._together
        state = {**together.start(), **box.state}
        for drive, position in decision.known.lies:
            state[together.variable_of["drive", drive].name] = position
        for section in decision.known.occupied:
            report = together.variable_of["report", section]
            state[report.name] = report.initial[0]
        self._seen.begin(state, decision.known.occupied)
        return {name: state[name] for name in self._start}

    def _told(self, entries: Sequence[Entry]) -> Iterator[Told]:
        chain: list[Fitting] = []
        at: Fitting | None = self._seen.likeliest
        while at is not None:
            chain.append(at)
            at = at.before
        placed, *steps = reversed(chain[:-1])
        for entry, fitting in zip(entries, (placed, *steps), strict=True):
            yield Told(entry, tuple(self._as_alone(fitting.events)))

    def _as_alone(self, numbers: Sequence[int]) -> Iterator[Event]:
        """Events of the machine of both as those of the machine alone."""
        for number in numbers:
            name = self._together.events[number].name
            if name not in self._reactions:
                yield self._alone[name]
            elif name in self._meant:
                yield self._meant[name]


def _reactions(box: Box, decision: Decision) -> tuple[Reaction, ...]:
    """What a controller does at something heard, before it hears it."""
    if decision.outcome != "done":
        return ()
    given = box.input_of(decision.heard)
    return () if given is None else box.reacting.input(given, box.state).done
