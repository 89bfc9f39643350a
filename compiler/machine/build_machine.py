"""From layout, routes and rules to the machine."""

from __future__ import annotations

from array import array
from collections.abc import Mapping
from itertools import chain

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.assumptions import assumptions
from bellcrank.machine.circuits import full_circuits, rings_of_tails
from bellcrank.machine.collecting import collected_seldom
from bellcrank.machine.frame import Frame
from bellcrank.machine.interlocking import interlocking_events
from bellcrank.machine.lemmas import lemmas
from bellcrank.machine.locking import Locking
from bellcrank.machine.machine_model import Clause, Event, Invariant, Is, Machine, Wish
from bellcrank.machine.progress import progress_invariants
from bellcrank.machine.safety import invariants
from bellcrank.machine.standing import standing_events
from bellcrank.machine.trains import train_events
from bellcrank.routes.ends import no_way_back
from bellcrank.routes.route_model import RouteTable


@collected_seldom()
def build_machine(layout: Layout, table: RouteTable, locking: Locking) -> Machine:
    """The machine of a layout that is without errors."""
    shared = _Shared()
    frame = Frame(layout, table, locking)
    groups = (frame.track, frame.edge, frame.drive, frame.signal, frame.route, frame.held)
    variables = {v.name: v for group in groups for v in group.values()}
    events = tuple(
        shared.event(event)
        for event in chain(interlocking_events(frame), train_events(frame), standing_events(frame))
    )
    stated = tuple(
        shared.invariant(i) for i in chain(invariants(frame), progress_invariants(frame, events))
    )
    wishes = [Wish(route.name, (route.name,), route.span) for route in table.routes.values()]
    for expectation in locking.expectations:
        if not expectation.never:
            wishes.append(Wish(expectation.name, expectation.routes, expectation.span))
    # Candidates once each, whatever the order of their literals.
    helping: dict[bytes, Clause] = {}
    for clause in map(shared.clause, lemmas(frame)):
        helping[shared.key(clause)] = clause
    candidates = tuple(helping.values())
    one_way = tuple(dict.fromkeys(p.piece for p in no_way_back(layout, table.routes.values())))
    rings = rings_of_tails(variables, events)
    said = assumptions(layout, one_way, full_circuits(variables, events, rings))
    return Machine(variables, events, stated, tuple(wishes), candidates, said)


class _Shared:
    """One and the same object for all literals, clauses, sets of values and changes that
    are equal (hash consing): on a large layout there are many times as many as different
    ones."""

    def __init__(self) -> None:
        self.literals: dict[Is, Is] = {}
        self.values: dict[frozenset[str], frozenset[str]] = {}
        self.clauses: dict[Clause, Clause] = {}
        self.changes: dict[tuple[tuple[str, str], ...], Mapping[str, str]] = {}

    def clause(self, clause: Clause) -> Clause:
        known = self.clauses.get(clause)
        if known is None:
            known = tuple([self.literals.get(literal) or self.new(literal) for literal in clause])
            self.clauses[known] = known
        return known

    def new(self, literal: Is) -> Is:
        values = self.values.setdefault(literal.values, literal.values)
        return self.literals.setdefault(literal, Is(literal.variable, values))

    @staticmethod
    def key(clause: Clause) -> bytes:
        """What shared clauses of the same literals have in common, and no others: as there
        is only one object for each literal, their identities in order. They are packed
        close, as there is a key for every clause."""
        return array("Q", sorted({*map(id, clause)})).tobytes()

    def event(self, event: Event) -> Event:
        # Field by field: `replace` takes twice as long.
        return Event(
            event.name,
            event.kind,
            event.actor,
            event.of,
            event.text,
            tuple([self.clause(c) for c in event.guard]),
            {
                variable: self.changes.setdefault(tuple(becomes.items()), becomes)
                for variable, becomes in event.updates.items()
            },
            event.route,
            event.span,
            event.entry,
        )

    def invariant(self, invariant: Invariant) -> Invariant:
        return Invariant(invariant.of, self.clause(invariant.clause), invariant.sentence)
