"""One and the same object for all that is equal in a machine (hash consing)."""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Mapping, Sequence

from bellcrank.machine.machine_model import Clause, Event, Invariant, Machine, Variable


class Shared:
    """One and the same object for all clauses and changes that are equal, as there is for literals
    of one variable (hash consing): on a large layout there are many times as many as different
    ones. Where it serves for one machine after another, so do guards and updates of events of one
    name, and it is seen at once what is as it was.

    variables: those of the last machine. events: the last of each name. invariants, lemmas: the
        clauses of the last machine in order. own: the identities of clauses that are shared,
        and of changes that are those of another machine.
    """

    def __init__(self) -> None:
        self.variables: Mapping[str, Variable] = {}
        self.events: dict[str, Event] = {}
        self.invariants: list[Clause] = []
        self.lemmas: list[Clause] = []
        self.clauses: dict[Clause, Clause] = {}
        self.own: set[int] = set()
        self.keys: dict[int, bytes] = {}
        self.changes: dict[tuple[tuple[str, str], ...], Mapping[str, str]] = {}

    def know(self, machine: Machine) -> None:
        """Leave clauses and changes of a machine, which lives on, as they stand there."""
        self.own.update([id(clause) for clause in machine.clauses])
        for event in machine.events:
            self.own.update(map(id, event.guard))
            self.own.update(map(id, event.updates.values()))

    def clause(self, clause: Clause) -> Clause:
        if id(clause) in self.own:
            return clause
        known = self.clauses.setdefault(clause, clause)
        self.own.add(id(known))
        return known

    def key(self, clause: Clause) -> bytes:
        """What shared clauses of the same literals have in common, and no others: as there
        is only one object for each literal, their identities in order. They are packed
        close, as there is a key for every clause."""
        key = self.keys.get(id(clause))
        if key is None:
            key = self.keys[id(clause)] = array("Q", sorted({*map(id, clause)})).tobytes()
        return key

    def in_order(self, clauses: Iterable[Clause], before: Sequence[Clause]) -> list[Clause]:
        """Clauses, shared. Most come in the order in which they came before, where to compare two
        is much sooner done than to look one up."""
        places: Mapping[int, int] | None = None
        made: list[Clause] = []
        at, end = 0, len(before)
        for clause in clauses:
            if at < end and before[at] == clause:
                known = before[at]
                at += 1
            else:
                known = self.clause(clause)
                if places is None:
                    places = {id(one): place for place, one in enumerate(before)}
                at = places.get(id(known), at - 1) + 1
            made.append(known)
        return made

    def once_each(self, clauses: Iterable[Clause]) -> tuple[Clause, ...]:
        """Clauses once each, whatever the order of their literals; of several the last, in the
        place of the first."""
        self.lemmas = self.in_order(clauses, self.lemmas)
        return tuple({self.key(clause): clause for clause in self.lemmas}.values())

    def stated(self, invariants: Iterable[Invariant]) -> tuple[Invariant, ...]:
        """Invariants with shared clauses."""
        made = list(invariants)
        self.invariants = self.in_order([i.clause for i in made], self.invariants)
        return tuple(
            [
                one if one.clause is clause else Invariant(one.of, clause, one.sentence)
                for one, clause in zip(made, self.invariants, strict=True)
            ]
        )

    def event(self, event: Event) -> Event:
        known = self.events.get(event.name)
        if known is not None and known.guard == event.guard and known.updates == event.updates:
            if known == event and known.entry == event.entry:
                return known
            guard, updates = known.guard, known.updates
        else:
            guard = tuple([self.clause(c) for c in event.guard])
            updates = {
                variable: becomes
                if id(becomes) in self.own
                else self.changes.setdefault(tuple(becomes.items()), becomes)
                for variable, becomes in event.updates.items()
            }
        made = self.events[event.name] = event.changed(guard, updates)
        return made
