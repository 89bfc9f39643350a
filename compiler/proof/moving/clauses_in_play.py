"""The clauses of one induction, which of them still stand, and how they are found.

The prover alone strikes clauses out; all others only read. A large railway
has a million clauses, so what is kept of each is few bytes. Where a search comes, which is
at few places, its variables are looked up more quickly.
"""

from __future__ import annotations

from array import array
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import combinations

from bellcrank.running.lookup import ByVariable
from bellcrank.running.packed import Literal, PackedClause

MOST_KEPT = 20_000
"""Answers kept; those who ask go along the railway, and seldom come back."""

MOST_NAMED = 200_000
"""Clauses kept by the values of a variable that they name, those of all variables together."""

Pair = tuple[int, int, int]
"""A clause of two literals as one of its variables sees it: its number, and the other
literal."""

NO_PAIRS: Mapping[int, Sequence[Pair]] = {}


class _Near:
    """The clauses that name a variable, by the values that they allow it.

    pairs: those of two literals. by_other: the same by the variable of the other literal, each
        with the values. longer: the numbers of the others.
    """

    __slots__ = ("by_other", "longer", "pairs")

    def __init__(self) -> None:
        self.pairs: dict[int, list[Pair]] = defaultdict(list)
        self.by_other: dict[int, dict[int, list[Pair]]] = defaultdict(dict)
        self.longer: dict[int, list[int]] = defaultdict(list)


class ClausesInPlay:
    """Clauses known by their numbers, from 0.

    variables: how many the machine has.
    stated: how many of them, the first, are invariants; the others are lemmas.
    standing: for each clause whether it was not struck out; changed by the methods here
        only. lemmas: the same, with no invariant standing. any_struck: whether one ever was.
    changes: how often another clause stood than before.
    """

    def __init__(self, variables: int, clauses: Sequence[PackedClause], stated: int = 0) -> None:
        self.clauses = clauses
        self.stated = stated
        self.standing = [True] * len(clauses)
        self.lemmas = [False] * stated + [True] * (len(clauses) - stated)
        self.any_struck = False
        self.changes = 0
        self._variables = variables
        self._by_variable = ByVariable(clauses)
        self._naming: dict[int, _Near] = {}
        self._named = 0
        self._falsified: dict[tuple[int, int], tuple[Sequence[Pair], Sequence[int]]] = {}
        self._of_more: dict[tuple[int, int], Sequence[int]] = {}
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
            self.any_struck = True
            self.changes += 1

    def struck(self) -> list[int]:
        """The clauses that were struck out."""
        return [number for number, stands in enumerate(self.standing) if not stands]

    def stand_but_for(self, struck: Iterable[int]) -> None:
        """All clauses stand again, except for these."""
        count = len(self.standing)
        self.standing[:] = [True] * count
        self.changes += 1
        self.lemmas[self.stated :] = [True] * (count - self.stated)
        self.strike(struck)

    # ------------------------------------------------------------ finding clauses

    def _key(self, variables: Sequence[int]) -> int:
        if len(variables) == 2:  # the same sooner, for most of all
            return self._key_of_two(*variables)
        width = self._variables + 1
        key = 0
        for variable in sorted(variables):
            key = key * width + variable + 1
        return key

    def _key_of_two(self, one: int, other: int) -> int:
        if one > other:
            one, other = other, one
        return (one + 1) * (self._variables + 1) + other + 1

    def naming(self, variable: int) -> Sequence[int]:
        """The clauses that name a variable."""
        return self._by_variable.naming(variable)

    def falsified(self, variable: int, known: int) -> tuple[Sequence[Pair], Sequence[int]]:
        """The clauses of which a variable's literal is false while it has one of some
        values: those of two literals, which are most of all, and the numbers of the others.
        What no longer stands is among them."""
        found = self._falsified.get((variable, known))
        if found is None:
            self._forget()
            by_values = self._near(variable).pairs.items()
            pairs = [pair for mask, alike in by_values if not mask & known for pair in alike]
            pairs.sort()
            found = self._falsified[variable, known] = (pairs, self._longer(variable, known))
        return found

    def falsified_with(
        self, variable: int, known: int, others: Mapping[int, int]
    ) -> tuple[Sequence[Pair], Sequence[int]]:
        """The same, but of those of two literals only the ones over one of some other
        variables."""
        by_other = self._near(variable).by_other
        return [
            pair
            for other in by_other.keys() & others.keys()
            for mask, alike in by_other[other].items()
            if not mask & known
            for pair in alike
        ], self._longer(variable, known)

    def _longer(self, variable: int, known: int) -> Sequence[int]:
        """The same clauses, but for those of two literals."""
        found = self._of_more.get((variable, known))
        if found is None:
            self._forget()
            by_values = self._near(variable).longer.items()
            found = [number for mask, alike in by_values if not mask & known for number in alike]
            found.sort()
            self._of_more[variable, known] = found
        return found

    def _forget(self) -> None:
        """Answers to questions about other parts of the railway."""
        if len(self._falsified) + len(self._of_more) >= MOST_KEPT:
            self._falsified.clear()
            self._of_more.clear()

    def _near(self, variable: int) -> _Near:
        """The clauses that name a variable."""
        near = self._naming.get(variable)
        if near is None:
            naming = self.naming(variable)
            if self._named >= MOST_NAMED:
                self._naming.clear()
                self._named = 0
            self._named += len(naming)
            near = self._naming[variable] = _Near()
            for number in naming:
                clause = self.clauses[number]
                if len(clause) == 2:
                    one, other = clause
                    if one[0] != variable:
                        one, other = other, one
                    pair = (number, *other)
                    near.pairs[one[1]].append(pair)
                    near.by_other[other[0]].setdefault(one[1], []).append(pair)
                else:
                    near.longer[dict(clause)[variable]].append(number)
        return near

    def with_literal(self, literal: Literal, count: int) -> Iterator[int]:
        """The clauses of so many literals, this one among them, in the order of their numbers."""
        variable, mask = literal
        near = self._near(variable)
        if count == 2:
            for number, _, _ in near.pairs.get(mask, ()):
                yield number
        else:
            yield from near.longer.get(mask, ())

    def over(self, variables: Sequence[int]) -> Iterator[int]:
        """The clauses over just these variables, the last first."""
        number = self._last.get(self._key(variables), -1)
        while number >= 0:
            yield number
            number = self._before[number]

    def excluding(
        self, one: int, its: int, conditions: Sequence[Literal]
    ) -> tuple[int, Literal] | None:
        """A clause over two variables that still stands and is false while one has some values
        and a condition is true; with the first condition for which there is such a clause."""
        by_other, standing = self._near(one).by_other, self.standing
        for condition in conditions:
            other, known = condition
            for mask, alike in by_other.get(other, NO_PAIRS).items():
                if not mask & its:
                    for number, _, allowed in alike:
                        if not allowed & known and standing[number]:
                            return number, condition
        return None

    def implying(self, clause: PackedClause) -> Iterator[int]:
        """The clauses that still stand and of which each literal is within one of these, this
        clause itself among them: first those of one literal, and of clauses over the same
        variables the last first."""
        last, clauses, before, standing = self._last, self.clauses, self._before, self.standing
        for variable, mask in clause:
            number = last.get(variable + 1, -1)
            while number >= 0:
                if not clauses[number][0][1] & ~mask and standing[number]:
                    yield number
                number = before[number]
        for (one, its), (other, mask) in combinations(clause, 2):
            number = last.get(self._key_of_two(one, other), -1)
            while number >= 0:
                (variable, first), (_, second) = clauses[number]
                if variable != one:
                    first, second = second, first
                if not (first & ~its or second & ~mask) and standing[number]:
                    yield number
                number = before[number]
        for size in range(3, len(clause) + 1):
            for literals in combinations(clause, size):
                masks = dict(literals)
                for number in self.over([v for v, _ in literals]):
                    if standing[number] and not any(m & ~masks[v] for v, m in clauses[number]):
                        yield number

    def find(self, clause: PackedClause) -> int:
        """The number of a clause of these words in this order; -1 if there is none."""
        number = self._last.get(self._key([v for v, _ in clause]), -1)
        while number >= 0 and self.clauses[number] != clause:
            number = self._before[number]
        return number

    def find_whatever_order(self, clause: PackedClause) -> int:
        """The number of the last clause of these literals, in whatever order; -1 if there is
        none."""
        literals = frozenset(clause)
        for number in self.over([v for v, _ in clause]):
            if literals == frozenset(self.clauses[number]):
                return number
        return -1
