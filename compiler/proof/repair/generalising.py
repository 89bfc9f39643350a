"""Rules for every route in the place of many for single ones."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from bellcrank.machine.locking import Locks, OnlyOne, OnlyOneOver
from bellcrank.machine.wording import Every
from bellcrank.proof.repair.candidates import Addition, Candidate, meant_by
from bellcrank.proof.repair.hitting_set import Lesson, minimum_hitting_set
from bellcrank.routes.route_model import RouteTable

GENERAL_FROM = 3
"""Rules for single routes from which on one for every route goes in their place."""


@dataclass(frozen=True, slots=True)
class Generalising:
    """order: the candidates, each with its place among them."""

    table: RouteTable
    order: Mapping[Candidate, int]

    def worth_it(self, rules: Iterable[Candidate]) -> list[Every]:
        """Rules for every route that go in the place of many."""
        single = set(rules)
        every = (Every("positions"), Every("sections clear"))
        return [e for e in every if len(self.single([e]) & single) >= GENERAL_FROM]

    def beside(self, general: Sequence[Every], lessons: Iterable[Lesson]) -> tuple[Candidate, ...]:
        """Some general rules, with as few others as meet the lessons that these do not;
        nothing without general rules, or if nothing meets them."""
        met = self.single(general)
        rest = [Lesson(x.add, x.leave - met) for x in lessons if not x.add & met]
        few = minimum_hitting_set(rest, self.order)
        if not general or few is None:
            return ()
        return (*general, *sorted(few - set(general), key=self.order.__getitem__))

    def single(self, rules: Iterable[Addition]) -> frozenset[Candidate]:
        """The candidates that some rules stand for."""
        found: set[Candidate] = set()
        for rule in rules:
            if isinstance(rule, OnlyOne | OnlyOneOver):
                group = set(rule.routes)
                locks = (lock for lock in self.order if isinstance(lock, Locks))
                found |= {lock for lock in locks if {lock.first, lock.second} <= group}
            else:
                found |= {rule, *(meant_by(rule, self.table) if isinstance(rule, Every) else ())}
        return frozenset(found & self.order.keys())
