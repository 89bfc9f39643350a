"""What a clause has to be shown of, as a key: everything that its obligations say.

That a clause is inductive relative to some others is a statement about

- the clause, and for each variable that it names its values and those it may have at the start;
- each event that could make the clause false: its guard and its changes, in which every variable
  stands with its values;
- the clauses that help.

The first two are the key here, the third is kept with it as digests of clauses. Whoever finds
the key in another machine has a clause there of the same words, and the same events that could
make it false, no more and no fewer; if the clauses that helped are there as well, then all the
obligations are the same, word for word, and so is the solver's answer to each. Names of events,
sentences and places in the source are in no obligation and in no key.

An event could make a clause false only if it takes a variable of the clause out of the values
that the clause names (`leaving`, by the same test as the examiner's). What the events of one such
`Move` say goes into one digest, so a key takes few.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from bellcrank.machine.machine_model import Machine, Variable
from bellcrank.proof.kept.kept_model import digest, hash_of
from bellcrank.proof.moving.shapes import Shape
from bellcrank.running.packed import Changes, Literal, Move, Packed, PackedClause, PackedEvent


def key_of_shape(shape: Shape, method: str) -> bytes:
    """The key of a question up to renaming: a shape has numbers only, so it is its own words."""
    return digest(f"{method} shape {shape!r}")


@dataclass(frozen=True, slots=True)
class Asked:
    """What there is to be shown of a clause.

    key: of all of it together. own: what the clause says, with the method.
    moves: what could make it false, each with a digest.
    """

    key: bytes
    own: bytes
    moves: list[tuple[Move, bytes]]

    def of_moves(self) -> Iterator[tuple[Move, bytes]]:
        """What is to be shown of each move by itself, with its key."""
        own = b"moved " + self.own
        for move, said in self.moves:
            yield move, hash_of(own + said)


class Contents:
    """What clauses and events of a packed machine say.

    method: what proves, with its version; it is a part of every key.
    variables: those of the machine. said: of each variable a digest of all that it is.
    """

    def __init__(self, packed: Packed, machine: Machine, method: str) -> None:
        self.packed = packed
        self.method = method
        self.variables = tuple(machine.variables.values())
        self.said = [_variable(v) for v in self.variables]
        self.names = [event.name for event in machine.events]
        self._literals: dict[Literal, str] = {}
        self._changes: dict[tuple[int, Changes], str] = {}
        self._clauses: dict[PackedClause, bytes] = {}
        self._events: dict[int, str] = {}
        self._moves: dict[int, bytes] = {}
        self._leaving: dict[Literal, list[tuple[Move, bytes]]] = {}
        self._by_events: dict[Literal, frozenset[int]] = {}
        self._moved_by: dict[Literal, list[Move]] = {}

    @property
    def event_of(self) -> dict[str, PackedEvent]:
        """The events by their names."""
        return dict(zip(self.names, self.packed.events, strict=True))

    def threats(self, clause: PackedClause) -> frozenset[int]:
        """The events, by their numbers, that could make a clause false."""
        known = self._by_events
        for literal in clause:
            if literal not in known:
                moves = self._moves_leaving(literal)
                known[literal] = frozenset([e.number for move in moves for e in move.events])
        if len(clause) == 1:
            return known[clause[0]]
        return frozenset().union(*map(known.__getitem__, clause))

    def _moves_leaving(self, literal: Literal) -> list[Move]:
        """The moves that take a variable out of the values of a literal, looked for once."""
        found = self._moved_by.get(literal)
        if found is None:
            found = self._moved_by[literal] = list(leaving(self.packed, *literal))
        return found

    def asked(self, clause: PackedClause) -> Asked:
        """What there is to be shown of a clause."""
        own = f"{self.method} {self._words(clause)} ".encode()
        moves: list[tuple[Move, bytes]] = []
        for literal in clause:
            found = self._leaving.get(literal)
            if found is None:
                found = self._leaving[literal] = [
                    (move, self._move(move)) for move in self._moves_leaving(literal)
                ]
            moves += found
        return Asked(hash_of(b"clause " + own + b"".join([s for _, s in moves])), own, moves)

    def clause(self, clause: PackedClause) -> bytes:
        """A digest of what a clause says, whatever the order of its literals."""
        said = self._clauses.get(clause)
        if said is None:
            words = sorted([self._literal(literal) for literal in clause])
            said = self._clauses[clause] = digest(" ".join(words))
        return said

    def _literal(self, literal: Literal) -> str:
        said = self._literals.get(literal)
        if said is None:
            variable, mask = literal
            said = self._literals[literal] = f"{self.said[variable]}:{mask:x}"
        return said

    def _words(self, clause: PackedClause) -> str:
        return ",".join([self._literal(literal) for literal in clause])

    def _move(self, move: Move) -> bytes:
        said = self._moves.get(id(move))  # the machine's own, which stay as long as this
        if said is None:
            events = sorted([self._event(event) for event in move.events])
            said = self._moves[id(move)] = digest(" ".join(events))
        return said

    def _event(self, event: PackedEvent) -> str:
        said = self._events.get(event.number)
        if said is None:
            text = "{}|{}|{}".format(
                self._words(event.conditions),
                ";".join(map(self._words, event.guard)),
                ";".join(map(self._change, event.changes)),
            )
            said = self._events[event.number] = digest(text).hex()
        return said

    def _change(self, change: tuple[int, Changes]) -> str:
        said = self._changes.get(change)
        if said is None:
            variable, changes = change
            pairs = ",".join(f"{old:x}>{new:x}" for old, new in changes)
            said = self._changes[change] = f"{self.said[variable]}={pairs}"
        return said


def leaving(packed: Packed, variable: int, mask: int) -> Iterator[Move]:
    """The moves that take a variable out of some values."""
    for move in packed.moves[variable]:
        allowed = move.allowed & mask
        for old, new in move.changes:
            if old & allowed and not new & mask:
                yield move
                break


def _variable(variable: Variable) -> str:
    """A variable with its values and those it may have at the start, as digits of its digest: a
    literal or an event that names it says all of that."""
    said = (variable.name, variable.values, variable.initial)
    return digest(repr(said)).hex()


def numbers_of(clauses: Iterable[PackedClause], contents: Contents) -> dict[bytes, int]:
    """The last of the clauses with each digest."""
    return {contents.clause(clause): number for number, clause in enumerate(clauses)}
