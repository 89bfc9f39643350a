"""Finding the clauses of a machine, by a variable or by their words.

A large railway has a million clauses, so what is kept of each is few bytes. Where a
search comes, which is at few places, its variables are looked up more quickly.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterator, Sequence

from bellcrank.running.packed import Packed, PackedClause

Pair = tuple[int, int, int, int]
"""A clause of two literals as one of its variables sees it: the set of values, the
number, and the other literal."""

Longer = tuple[int, int]
"""Any other clause: the set of values, and the number."""


class Index:
    """The clauses of a machine that have been taken in, in the order of their numbers."""

    def __init__(self, packed: Packed) -> None:
        self.clauses = packed.clauses
        self._naming: list[array[int]] = [array("i") for _ in packed.full]
        self._near: dict[int, tuple[list[Pair], list[Longer]]] = {}
        self._width = len(packed.full) + 1
        # Of all clauses over the same variables: the last, and the one before each.
        self._last: dict[int, int] = {}
        self._before = array("i")

    def take_in(self, number: int) -> None:
        """Take in the next clause."""
        variables = [v for v, _ in self.clauses[number]]
        for variable in variables:
            self._naming[variable].append(number)
            if variable in self._near:
                del self._near[variable]
        key = self._key(variables)
        self._before.append(self._last.get(key, -1))
        self._last[key] = number

    def _key(self, variables: Sequence[int]) -> int:
        if len(variables) == 2:  # the same sooner, for most of all
            one, other = variables
            if one > other:
                one, other = other, one
            return (one + 1) * self._width + other + 1
        key = 0
        for variable in sorted(variables):
            key = key * self._width + variable + 1
        return key

    def naming(self, variable: int) -> Sequence[int]:
        """The clauses that name a variable."""
        return self._naming[variable]

    def near(self, variable: int) -> tuple[list[Pair], list[Longer]]:
        """The clauses that name a variable as a search needs them: those of two literals,
        which are most of all, and the others."""
        known = self._near.get(variable)
        if known is None:
            known = self._near[variable] = ([], [])
            pairs, longer = known
            for number in self._naming[variable]:
                clause = self.clauses[number]
                if len(clause) == 2:
                    (one, its), (other, others) = clause
                    if one == variable:
                        pairs.append((its, number, other, others))
                    else:
                        pairs.append((others, number, one, its))
                else:
                    longer.append((dict(clause)[variable], number))
        return known

    def over(self, variables: Sequence[int]) -> Iterator[int]:
        """The clauses over just these variables, the last first."""
        number = self._last.get(self._key(variables), -1)
        while number >= 0:
            yield number
            number = self._before[number]

    def find(self, clause: PackedClause) -> int:
        """The number of a clause of these words in this order; -1 if there is none."""
        number = self._last.get(self._key([v for v, _ in clause]), -1)
        while number >= 0 and self.clauses[number] != clause:
            number = self._before[number]
        return number
