"""What trains did between the reports of a run that was journalled.

The journal says what came in and when, and so what the controller did. What it says nothing of are
the trains: they are looked for in the machine of controller and railway, as what may have
happened unseen (`running/explaining.py`). Of several ways in which all can have come about the
likeliest is taken: that with the fewest things done by hand.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from bellcrank.controller.controller_model import Reaction
from bellcrank.controller.reactions import Control
from bellcrank.live.box import Box
from bellcrank.live.decisions import Decision
from bellcrank.live.journal import Entry
from bellcrank.live.recalling import again
from bellcrank.live.sessions import Session
from bellcrank.live.unseen import UNLIKELY, reported_by, reports_of
from bellcrank.machine.machine_model import Event, Machine
from bellcrank.running.explaining import Explaining, Fitting


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
        self._reported_at_once: defaultdict[str, list[int]] = defaultdict(list)
        self._standing: defaultdict[str, list[int]] = defaultdict(list)
        unseen: dict[int, int] = {}
        for number, event in enumerate(together.events):
            if event.kind not in UNLIKELY or event.name in paired:
                continue
            unseen[number] = UNLIKELY[event.kind]
            reported = reported_by(event, together)
            if reported is not None:
                self._reported_at_once[reported].append(number)
                if event.kind == "stands":
                    self._standing[reported].append(number)
        self._explaining = Explaining(together, unseen, (), reports_of(together))

    def infer(self, session: Session, box: Box) -> Inferred:
        """What happened in a session. box: new, of the same layout."""
        first, *rest = session.entries
        found = Inferred(self._begin(first.decision, box))
        entries = [first]
        for entry in rest:
            done = _reactions(box, entry.decision)
            again(box, entry.decision)
            seen = [[self._number[reaction.name]] for reaction in done]
            if done and entry.decision.heard.kind == "occupied":
                seen[0] += self._reported_at_once[entry.decision.heard.of]
            if not self._explaining.see(seen):
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
        self._explaining.begin([state])
        # A standing train is told by its section alone: any part of it will do.
        self._explaining.see([self._standing[section] for section in decision.known.occupied])
        return {name: state[name] for name in self._start}

    def _told(self, entries: Sequence[Entry]) -> Iterator[Told]:
        likeliest = self._explaining.fitting[0]
        chain: list[Fitting] = []
        at: Fitting | None = likeliest
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
