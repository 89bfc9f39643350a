"""From layout, routes and rules to the machine."""

from __future__ import annotations

from dataclasses import replace
from itertools import chain

from bellcrank.layout.model import Layout
from bellcrank.machine.assumptions import assumptions
from bellcrank.machine.collecting import collected_seldom
from bellcrank.machine.frame import Frame
from bellcrank.machine.interlocking import interlocking_events
from bellcrank.machine.lemmas import lemmas
from bellcrank.machine.locking import Locking
from bellcrank.machine.model import Clause, Event, Invariant, Is, Machine, Wish
from bellcrank.machine.progress import progress_invariants
from bellcrank.machine.safety import invariants
from bellcrank.machine.trains import train_events
from bellcrank.routes.model import RouteTable


@collected_seldom()
def build_machine(layout: Layout, table: RouteTable, locking: Locking) -> Machine:
    """The machine of a layout that is without errors."""
    shared = _Shared()
    frame = Frame(layout, table, locking)
    groups = (frame.track, frame.edge, frame.drive, frame.signal, frame.route, frame.held)
    variables = {v.name: v for group in groups for v in group.values()}
    events = tuple(
        shared.event(event) for event in chain(interlocking_events(frame), train_events(frame))
    )
    by_name = {event.name: event for event in events}
    stated = tuple(
        shared.invariant(i) for i in chain(invariants(frame), progress_invariants(frame, by_name))
    )
    wishes = [Wish(route.name, (route.name,), route.span) for route in table.routes.values()]
    for expectation in locking.expectations:
        if not expectation.never:
            wishes.append(Wish(f"expect {expectation.text}", expectation.routes, expectation.span))
    known = {frozenset(i.clause) for i in stated}
    helping = {frozenset(c): c for c in map(shared.clause, lemmas(frame))}
    candidates = tuple(clause for key, clause in helping.items() if key not in known)
    return Machine(variables, events, stated, tuple(wishes), candidates, assumptions(layout))


class _Shared:
    """One and the same object for all literals, and sets of values, that are equal: on
    a large layout there are many times as many as different ones."""

    def __init__(self) -> None:
        self.literals: dict[Is, Is] = {}
        self.values: dict[frozenset[str], frozenset[str]] = {}

    def clause(self, clause: Clause) -> Clause:
        return tuple([self.literals.get(literal) or self.new(literal) for literal in clause])

    def new(self, literal: Is) -> Is:
        values = self.values.setdefault(literal.values, literal.values)
        return self.literals.setdefault(literal, Is(literal.variable, values))

    def event(self, event: Event) -> Event:
        return replace(event, guard=tuple([self.clause(c) for c in event.guard]))

    def invariant(self, invariant: Invariant) -> Invariant:
        return replace(invariant, clause=self.clause(invariant.clause))
