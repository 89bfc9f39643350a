"""The clauses of one induction, which of them still stand, and how they are found.

The prover alone strikes clauses out; all others only read. A large railway
has a million clauses, so what is kept of each is few bytes. Where a search comes, which is
at few places, its variables are looked up more quickly.
"""

from __future__ import annotations

from array import array
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence

from bellcrank.running.lookup import ByVariable
from bellcrank.running.packed import PackedClause

MOST_KEPT = 20_000
"""Answers kept; those who ask go along the railway, and seldom come back."""

FEW = 8
"""Clauses that are looked through one by one."""

Pair = tuple[int, int, int]
"""A clause of two literals as one of its variables sees it: its number, and the other
literal."""


class ClausesInPlay:
    """Clauses known by their numbers, from 0.

    variables: how many the machine has.
    stated: how many of them, the first, are invariants; the others are lemmas.
    standing: for each clause whether it was not struck out; changed by the methods here
        only. lemmas: the same, with no invariant standing.
    """

    def __init__(self, variables: int, clauses: Sequence[PackedClause], stated: int = 0) -> None:
        self.clauses = clauses
        self.stated = stated
        self.standing = [True] * len(clauses)
        self.lemmas = [False] * stated + [True] * (len(clauses) - stated)
        self._variables = variables
        self._by_variable = ByVariable(clauses)
        self._naming: dict[int, tuple[list[tuple[int, Pair]], list[tuple[int, int]]]] = {}
        self._falsified: dict[tuple[int, int], tuple[Sequence[Pair], Sequence[int]]] = {}
        self._by_other: dict[tuple[int, int], Mapping[int, Sequence[Pair]]] = {}
        # Of all clauses over the same variables: the last, and the one before each.
        self._last: dict[int, int] = {}
        self._before = array("i")
        for number, clause in enumerate(clauses):
            key = self._key([v for v, _ in clause])
            self._before.append(self._last.get(key, -1))
            self._last[key] = number

    def strike(self, numbers: Iterable[int]) -> None:
        """Clauses do not stand any longer: nothing may be shown with their help."""
        for number in numbers:
            self.standing[number] = self.lemmas[number] = False

    def struck(self) -> list[int]:
        """The clauses that were struck out."""
        return [number for number, stands in enumerate(self.standing) if not stands]

    def stand_but_for(self, struck: Iterable[int]) -> None:
        """All clauses stand again, except for these."""
        count = len(self.standing)
        self.standing[:] = [True] * count
        self.lemmas[self.stated :] = [True] * (count - self.stated)
        self.strike(struck)

    # ------------------------------------------------------------ finding clauses

    def _key(self, variables: Sequence[int]) -> int:
        width = self._variables + 1
        if len(variables) == 2:  # the same sooner, for most of all
            one, other = variables
            if one > other:
                one, other = other, one
            return (one + 1) * width + other + 1
        key = 0
        for variable in sorted(variables):
            key = key * width + variable + 1
        return key

    def naming(self, variable: int) -> Sequence[int]:
        """The clauses that name a variable."""
        return self._by_variable.naming(variable)

    def falsified(self, variable: int, known: int) -> tuple[Sequence[Pair], Sequence[int]]:
        """The clauses of which a variable's literal is false while it has one of some
        values: those of two literals, which are most of all, and the numbers of the others.
        What no longer stands is among them."""
        found = self._falsified.get((variable, known))
        if found is None:
            if len(self._falsified) >= MOST_KEPT:
                self._naming.clear()
                self._falsified.clear()
                self._by_other.clear()
            pairs, longer = self._near(variable)
            found = self._falsified[variable, known] = (
                [pair for mask, pair in pairs if not mask & known],
                [number for mask, number in longer if not mask & known],
            )
        return found

    def falsified_with(
        self, variable: int, known: int, others: Mapping[int, int]
    ) -> tuple[Sequence[Pair], Sequence[int]]:
        """The same, but of those of two literals only the ones over one of some other
        variables."""
        pairs, longer = self.falsified(variable, known)
        if len(pairs) <= FEW:
            return [pair for pair in pairs if pair[1] in others], longer
        by_other = self._by_other.get((variable, known))
        if by_other is None:
            found: dict[int, list[Pair]] = defaultdict(list)
            for pair in pairs:
                found[pair[1]].append(pair)
            by_other = self._by_other[variable, known] = dict(found)
        return [pair for v in by_other.keys() & others.keys() for pair in by_other[v]], longer

    def _near(self, variable: int) -> tuple[list[tuple[int, Pair]], list[tuple[int, int]]]:
        """The clauses that name a variable, each with the values it allows it."""
        known = self._naming.get(variable)
        if known is None:
            known = self._naming[variable] = ([], [])
            pairs, longer = known
            for number in self.naming(variable):
                clause = self.clauses[number]
                if len(clause) == 2:
                    one, other = clause
                    if one[0] != variable:
                        one, other = other, one
                    pairs.append((one[1], (number, *other)))
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
