"""A machine in numbers: variables by their place, sets of values as bits.

The one packed form. The search through states compiles it, the prover reasons in it.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from bellcrank.machine.machine_model import AWAY_FROM_REST, Clause, Event, Is, Machine, Variable

Literal = tuple[int, int]
"""The place of a variable and the set of values it has, one bit a value."""

PackedClause = tuple[Literal, ...]


Changes = tuple[tuple[int, int], ...]
"""Pairs of values of a variable that change and what they become."""


@dataclass(frozen=True, slots=True)
class PackedEvent:
    """An event: clauses of its guard, and for each variable what each bit becomes.

    A large railway has millions of events, and a dictionary takes several times the room of
    the few things in it; so they are kept in tuples, and looked up by who asks often.

    conditions: what the one-literal clauses of the guard allow, of each variable once.
    guard: the other clauses.
    changes: of each variable once, how its values change.
    """

    number: int
    conditions: tuple[Literal, ...]
    guard: tuple[PackedClause, ...]
    changes: tuple[tuple[int, Changes], ...]

    @property
    def units(self) -> dict[int, int]:
        """What the one-literal clauses of the guard allow, by variable."""
        return dict(self.conditions)

    @property
    def updates(self) -> dict[int, Changes]:
        """How values change, by variable."""
        return dict(self.changes)


class Encoding:
    """The variables of a machine by number, and what turns its words into bits.

    names: the variables in the machine's order. place: the number of each.
    values: for each variable the place of each of its values.
    full: for each variable all its values.
    start: for each variable the values it may have at the start.
    """

    def __init__(self, variables: Mapping[str, Variable]) -> None:
        self.names = list(variables)
        self.place = {name: i for i, name in enumerate(self.names)}
        self.values = [{value: i for i, value in enumerate(v.values)} for v in variables.values()]
        self.full = [(1 << len(v.values)) - 1 for v in variables.values()]
        self._masks: dict[tuple[str, frozenset[str]], Literal] = {}
        self._literals: dict[Literal, Literal] = {}
        self._clauses: dict[PackedClause, PackedClause] = {}
        self._same: dict[tuple[Literal, ...], tuple[Literal, ...]] = {}
        self._changes: dict[tuple[int, int], tuple[int, Changes]] = {}
        self._of_guards: dict[int, PackedClause] = {}
        self.start = [self.mask(v.name, v.initial)[1] for v in variables.values()]

    def mask(self, variable: str, values: Iterable[str]) -> Literal:
        """A literal from names."""
        place = self.place[variable]
        places = self.values[place]
        total = 0
        for value in values:
            total |= 1 << places[value]
        return place, total

    def clause(self, clause: Clause) -> PackedClause:
        """A clause from names; literals of one variable become one."""
        merged: dict[int, Literal] = {}
        for literal in clause:
            packed = self._masks.get(literal)
            if packed is None:
                packed = self._masks[literal] = self._one(self.mask(*literal))
            place, mask = packed
            known = merged.setdefault(place, packed)
            if known is not packed:
                merged[place] = self._one((place, known[1] | mask))
        return tuple(merged.values())

    def _one(self, literal: Literal) -> Literal:
        """One and the same object for all literals that are equal (hash consing)."""
        return self._literals.setdefault(literal, literal)

    def named(self, clause: PackedClause) -> Clause:
        """A packed clause by names."""
        return tuple(
            Is(
                self.names[place],
                frozenset(v for v, i in self.values[place].items() if mask >> i & 1),
            )
            for place, mask in clause
        )

    def event(self, number: int, event: Event) -> PackedEvent:
        """An event from names. It has to stay as long as other events are packed, as what they
        share is known by its identity."""
        units: dict[int, Literal] = {}
        guard: dict[PackedClause, None] = {}
        for clause in event.guard:
            packed = self._of_guards.get(id(clause))
            if packed is None:
                packed = self.clause(clause)
                packed = self._of_guards[id(clause)] = self._clauses.setdefault(packed, packed)
            if len(packed) == 1:
                literal = packed[0]
                known = units.setdefault(literal[0], literal)
                if known is not literal:
                    units[literal[0]] = self._one((literal[0], known[1] & literal[1]))
            else:
                guard[packed] = None
        changes = []
        for name, becomes in event.updates.items():
            place = self.place[name]
            # The machine has one object for all changes that are equal.
            change = self._changes.get((place, id(becomes)))
            if change is None:
                places = self.values[place]
                into: dict[int, int] = defaultdict(int)
                for value, new in becomes.items():
                    if value != new:
                        into[1 << places[new]] |= 1 << places[value]
                pairs = tuple([self._one((old, new)) for new, old in into.items()])
                change = place, self._same.setdefault(pairs, pairs)
                self._changes[place, id(becomes)] = change
            changes.append(change)
        return PackedEvent(number, tuple(units.values()), tuple(guard), tuple(changes))


@dataclass(frozen=True, slots=True)
class Move:
    """What events do with a variable.

    allowed: the values it may have before. changes: how they change. events: those that do
        just this.
    """

    allowed: int
    changes: Changes
    events: tuple[PackedEvent, ...]


class Packed(Encoding):
    """A whole machine packed, as the prover reads it. Nothing in it changes.

    held, signal: for each variable whether it says which route a section is held
        for, or what a signal shows. kinds, of: for each its kind, and the name of the thing that it
        is of. only: the last variable of each kind and thing.
    clauses: invariants first, then lemmas. stated: how many invariants there are.
    moves: for each variable what events do with it.
    accident: for each event whether it is one that should never be possible.
    away_from_rest: for each event whether it is one without which the railway has to be able
        to come to rest.
    """

    def __init__(self, machine: Machine, of_part: tuple[Machine, Packed] | None = None) -> None:
        """of_part: a machine and its packed form. Where its variables are the first of this one,
        what is one clause in both is not packed again."""
        super().__init__(machine.variables)
        variables = list(machine.variables.values())
        self.kinds = [v.kind for v in variables]
        self.of = [v.of for v in variables]
        self.only = {(v.kind, v.of): i for i, v in enumerate(variables)}
        self.held = [v.kind == "held" for v in variables]
        self.signal = [v.kind == "signal" for v in variables]
        # Each kind of variable goes along the railway in the order of the text.
        of_kind = Counter(v.kind for v in variables)
        so_far: Counter[str] = Counter()
        self._along = []
        for v in variables:
            self._along.append(so_far[v.kind] / of_kind[v.kind])
            so_far[v.kind] += 1
        known: dict[int, PackedClause] = {}
        if of_part is not None:
            part, packed = of_part
            if self.names[: len(packed.names)] == packed.names and all(
                machine.variables[name] is of for name, of in part.variables.items()
            ):
                known = dict(zip(map(id, part.clauses), packed.clauses, strict=True))
        self.clauses: tuple[PackedClause, ...] = tuple(
            [known.get(id(c)) or self.clause(c) for c in machine.clauses]
        )
        self.stated = len(machine.invariants)
        self.events = [self.event(i, e) for i, e in enumerate(machine.events)]
        for made in (self._masks, self._literals, self._clauses, self._changes, self._same):
            made.clear()
        self._of_guards.clear()
        self.accident = [e.kind in ("meets", "derails") for e in machine.events]
        self.away_from_rest = [e.kind in AWAY_FROM_REST for e in machine.events]
        self.moves = self._moves()

    def _moves(self) -> list[tuple[Move, ...]]:
        alike: list[dict[tuple[int, Changes], list[PackedEvent]]] = [{} for _ in self.full]
        for event in self.events:
            units = event.units
            for variable, changes in event.changes:
                key = units.get(variable, self.full[variable]), changes
                alike[variable].setdefault(key, []).append(event)
        return [
            tuple([Move(*key, tuple(events)) for key, events in of_variable.items()])
            for of_variable in alike
        ]

    def along(self, clause: PackedClause) -> float:
        """How far along the railway a clause speaks of, from 0 to 1: a place to sort by."""
        return min((self._along[v] for v, _ in clause), default=0.0)


def each_value(values: int) -> Iterator[int]:
    """Each of some values by itself, the lowest first."""
    while values:
        value = values & -values
        yield value
        values ^= value


def before(event: PackedEvent, variable: int, mask: int) -> int:
    """The values of a variable that are in a set after an event: the weakest precondition
    of a literal (Dijkstra, "Guarded commands, nondeterminacy and formal derivation of
    programs", 1975). An event sets each variable by its own value alone, so it is a
    literal again."""
    for changed, changes in event.changes:
        if changed != variable:
            continue
        moved = 0
        into = 0
        for old, new in changes:
            moved |= old
            if new & mask:
                into |= old
        return (mask & ~moved) | into
    return mask
