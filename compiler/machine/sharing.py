"""One and the same object for all that is equal in a machine (hash consing)."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Mapping

from bellcrank.machine.machine_model import Clause, Event, Invariant, Is


class Shared:
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
        values = self.values.get(literal.values)
        if values is None:
            # A set made of another takes the room that it needs; one that grew, up to twice that.
            values = frozenset(set(literal.values))
            self.values[values] = values
        made = Is(literal.variable, values)
        self.literals[made] = made
        return made

    @staticmethod
    def key(clause: Clause) -> bytes:
        """What shared clauses of the same literals have in common, and no others: as there
        is only one object for each literal, their identities in order. They are packed
        close, as there is a key for every clause."""
        return array("Q", sorted({*map(id, clause)})).tobytes()

    def once_each(self, clauses: Iterable[Clause]) -> tuple[Clause, ...]:
        """Clauses once each, whatever the order of their literals; of several the last, in the
        place of the first."""
        found: dict[bytes, Clause] = {}
        for clause in map(self.clause, clauses):
            found[self.key(clause)] = clause
        return tuple(found.values())

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
