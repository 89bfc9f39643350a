"""Finding what speaks of a variable without going through the whole machine.

Two indexes serve all that evaluate a machine: clauses by the variables that they name,
and events by the narrowest condition of their guard.
"""

from __future__ import annotations

from array import array
from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator, Sequence
from typing import Generic, TypeVar

from bellcrank.machine.machine_model import Event, Is

V = TypeVar("V", bound=Hashable)
"""A variable: its name, or its number where the machine is packed."""

NONE: Sequence[int] = ()


class ByVariable(Generic[V]):
    """The numbers of clauses by the variables that they name, in the order of the numbers.

    A large railway has a million clauses, so what is kept of each is few bytes.
    """

    def __init__(self, clauses: Iterable[Sequence[tuple[V, object]]] = ()) -> None:
        self._naming: dict[V, array[int]] = defaultdict(lambda: array("i"))
        for number, clause in enumerate(clauses):
            self.take_in(number, clause)

    def take_in(self, number: int, clause: Sequence[tuple[V, object]]) -> None:
        """Take in a clause whose number is greater than that of any before."""
        naming = self._naming
        if len(clause) == 2 and clause[0][0] != clause[1][0]:  # most of all
            naming[clause[0][0]].append(number)
            naming[clause[1][0]].append(number)
            return
        for variable in dict.fromkeys(v for v, _ in clause):
            naming[variable].append(number)

    def naming(self, variable: V) -> Sequence[int]:
        """The clauses that name a variable."""
        return self._naming.get(variable, NONE)


class ByNarrowest:
    """Events by the values that the narrowest one-literal condition of their guard allows.

    Few events can happen in a state: only those need be looked at of which that one
    condition is met.

    always: the events without such a condition. by_value: the others, by a variable and
    one of its values.
    """

    def __init__(self, events: Iterable[Event]) -> None:
        self.always: list[int] = []
        self.by_value: dict[tuple[str, str], list[int]] = defaultdict(list)
        for number, event in enumerate(events):
            narrowest = _narrowest(event)
            if narrowest is None:
                self.always.append(number)
                continue
            for value in sorted(narrowest.values):
                self.by_value[narrowest.variable, value].append(number)

    def worth_looking_at(self, state: Iterable[tuple[str, str]]) -> Iterator[int]:
        """The events that may be possible in a state, in the order of their numbers."""
        numbers = list(self.always)
        for item in state:
            numbers += self.by_value.get(item, NONE)
        yield from sorted(numbers)


def _narrowest(event: Event) -> Is | None:
    units = [clause[0] for clause in event.guard if len(clause) == 1]
    return min(units, key=lambda literal: len(literal.values), default=None)
