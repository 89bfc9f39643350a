"""A layout with its routes and its machine, looked up by the names that a script uses.

Also what a train does when it goes on: which events take its front or its tail
from where it is. These are found in the machine by what they change.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

from bellcrank.layout.layout_model import Edge, Layout, Leg
from bellcrank.machine.frame import CLEAR, OUTSIDE, PUT_BACK, here, passing
from bellcrank.machine.machine_model import Event, EventKind, Machine, State
from bellcrank.machine.parts import Parts, Passage, find_parts
from bellcrank.routes.route_model import RouteTable
from bellcrank.running.simulator import Simulator

FRONT: frozenset[EventKind] = frozenset(("passes signal", "enters", "joins", "meets", "derails"))
"""The kinds of event by which the front of a train goes on."""

TAIL: frozenset[EventKind] = frozenset(("tail leaves", "wholly in"))
"""The kinds of event by which its tail follows."""


@dataclass(slots=True)
class Railway:
    """All that a rehearsal needs to know. Nothing in it changes once it is made.

    parts_of: for each section, piece and fitting the parts of the track it stands for.
    track: for each part the name of its variable.
    variable: the name of the variable of a kind that tells of a thing.
    """

    machine: Machine
    layout: Layout
    table: RouteTable
    simulator: Simulator = field(init=False)
    parts: Parts = field(init=False)
    parts_of: dict[str, tuple[str, ...]] = field(init=False)
    track: dict[str, str] = field(default_factory=dict)
    variable: dict[tuple[str, str], str] = field(default_factory=dict)
    _events: dict[tuple[EventKind, str], list[Event]] = field(
        default_factory=lambda: defaultdict(list)
    )
    _front_events: dict[tuple[str, str], list[Event]] = field(
        default_factory=lambda: defaultdict(list)
    )
    _past: dict[str, list[Event]] = field(default_factory=lambda: defaultdict(list))
    _passed: dict[str, str] = field(default_factory=dict)
    _passages: dict[tuple[str, str], Passage] = field(default_factory=dict)
    _fronts: dict[tuple[str, str], str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.simulator = Simulator(self.machine)
        self.parts = find_parts(self.layout)
        self.parts_of = {
            element: (self.parts.part_of[element],) for element in self.layout.elements
        }
        self.parts_of |= self.parts.in_section
        self.variable = {(v.kind, v.of): name for name, v in self.machine.variables.items()}
        for part in self.parts.parts.values():
            name = self.track[part.name] = self.variable["track", part.name]
            for passage in part.passages:
                self._passages[name, here(passage)] = passage
                self._passages[name, passing(passage)] = passage
                self._fronts[name, here(passage)] = passing(passage)
        for event in self.machine.events:
            self._events[event.kind, event.of].append(event)
            if event.kind in FRONT:
                self._list_front_event(event)

    def _list_front_event(self, event: Event) -> None:
        for variable, becomes in event.updates.items():
            for value, new in becomes.items():
                if self._fronts.get((variable, value)) == new:
                    self._front_events[variable, value].append(event)
        read = (self.machine.variables[x.variable] for clause in event.guard for x in clause)
        signal = next((variable.of for variable in read if variable.kind == "signal"), None)
        if signal is not None:
            self._passed[event.name] = signal
            self._past[signal].append(event)

    # ----------------------------------------------------------------- events

    def events(self, kind: EventKind, of: str) -> Sequence[Event]:
        """The events of a kind that are about a thing."""
        return self._events.get((kind, of), ())

    def events_past(self, signal: str) -> Sequence[Event]:
        """The events by which a front passes a signal."""
        return self._past.get(signal, ())

    def signal_passed(self, event: Event) -> str | None:
        """The signal that a front passes by an event, if there is one."""
        return self._passed.get(event.name)

    def value(self, kind: str, of: str, state: State) -> str:
        """The value of the variable of a kind that tells of a thing."""
        return state[self.variable[kind, of]]

    # ----------------------------------------------------------------- trains

    def fronts(self, place: str, state: State) -> list[str]:
        """The parts of a place in which the front of a train is."""
        tracks = {part: self.track[part] for part in self.parts_of[place]}
        return [part for part, name in tracks.items() if (name, state[name]) in self._fronts]

    def fronts_in(self, part: str) -> frozenset[str]:
        """The values of the track of a part that are a train with its front there."""
        return frozenset(here(passage) for passage in self.parts.parts[part].passages)

    def fronts_going_on(self, part: str, front: str) -> Sequence[Event]:
        """The events by which such a front might go on."""
        return self._front_events.get((self.track[part], front), ())

    def fronts_before(self, part: str, signal: str) -> frozenset[str]:
        """The values of the track of a part that are a train with its front there, of which the
        next signal it comes to stands where it leaves the part."""
        before = self.layout.signals[signal].before
        passages = self.parts.parts[part].passages
        return frozenset(here(passage) for passage in passages if passage.exit == before)

    def occupied(self, place: str, state: State) -> list[str]:
        """The parts of a place that are not clear."""
        return [p for p in self.parts_of[place] if state[self.track[p]] != CLEAR]

    def going_on(self, part: str, state: State) -> Sequence[Event]:
        """The events by which the front in a part might go on, possible now or not."""
        return self._front_events.get((self.track[part], state[self.track[part]]), ())

    def in_place(self, kind: EventKind, place: str) -> list[Event]:
        """The events of a kind that are about the track of a place."""
        return [e for part in self.parts_of[place] for e in self.events(kind, part)]

    def tail_of(self, name: str, state: State) -> list[Event]:
        """The events by which the tail of a train leaves a part or comes in from an edge."""
        of_edge = self.events("wholly in", name)
        if of_edge:
            return list(of_edge)
        variable = self.track[name]
        return [
            event
            for event in self.events("tail leaves", name)
            if state[variable] in event.updates[variable]
        ]

    def reaches_back(self, part: str, state: State) -> list[str]:
        """Where the train in a part still stands behind it: parts or an edge, its tail first."""
        behind: list[str] = []
        seen: set[str] = set()
        while part not in seen:
            seen.add(part)
            passage = self._passages.get((self.track[part], state[self.track[part]]))
            before = self.layout.joined.get(passage.entry) if passage is not None else None
            if isinstance(before, Edge):
                edge = self.variable.get(("edge", before.name))
                if edge is not None and state[edge] == OUTSIDE:
                    behind.append(before.name)
                break
            if not isinstance(before, Leg):
                break
            part = self.parts.part_of[before.element]
            if not self._passes(part, before, state):
                break
            behind.append(part)
        return behind[::-1]

    def _passes(self, part: str, leg: Leg, state: State) -> bool:
        """Whether a train is on a part whose front has gone on by a leg."""
        value = state[self.track[part]]
        passage = self._passages.get((self.track[part], value))
        return passage is not None and passage.exit == leg and value == passing(passage)

    def left_by(self, event: Event, state: State) -> str:
        """The part, or the edge, from which an event takes the front of a train on."""
        for name, becomes in event.updates.items():
            value = state[name]
            if (name, value) in self._fronts and becomes.get(value) == self._fronts[name, value]:
                return self.machine.variables[name].of
        changed = (self.machine.variables[name] for name in event.updates)
        return next(variable.of for variable in changed if variable.kind == "edge")

    def part_left_by(self, event: Event) -> str | None:
        """The part from which an event takes a front on, whatever the state; None from an edge."""
        for name, becomes in event.updates.items():
            if any(self._fronts.get((name, value)) == new for value, new in becomes.items()):
                return self.machine.variables[name].of
        return None

    def front_after(self, event: Event) -> str:
        """The part in which a front is after an event that takes it into a part: that one, or,
        where it draws up to a train which reaches further, the one where that has its front."""
        passing_at = {
            literal.variable: passage
            for (literal, *more) in event.guard
            if not more and len(literal.values) == 1
            for value in literal.values
            if (passage := self._passages.get((literal.variable, value))) is not None
            and value == passing(passage)
        }
        part = event.of
        seen = set()
        while (passage := passing_at.get(self.track[part])) is not None and part not in seen:
            seen.add(part)
            beyond = self.layout.joined.get(passage.exit)
            if not isinstance(beyond, Leg):
                break
            part = self.parts.part_of[beyond.element]
        return part

    def overruns(self, event: Event, state: State) -> bool:
        """Whether a train passes a signal by an event that has just been put back to stop."""
        signal = self.signal_passed(event)
        return signal is not None and self.value("signal", signal, state) == PUT_BACK
