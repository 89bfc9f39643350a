"""Missing rules in the form of the notebook: a route that a written group lacks is put into
it, and where groups are written, many pairs over one section become another group. Elsewhere
a place that was forgotten, with three routes over it or more and nothing between them yet,
becomes an `only one route over` it; and so does any, where places are what is written.

A greedy cover of the missing pairs: what covers most of them goes first. It may forbid more
than the pairs do, so whoever takes it has it proved.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import combinations

from bellcrank.machine.locking import Locking, Locks, OnlyOne, OnlyOneOver
from bellcrank.machine.rules import routes_over
from bellcrank.proof.repair.candidates import Addition
from bellcrank.routes.route_model import RouteTable

Pair = frozenset[str]

SMALL = 3
"""Groups of so many routes are worth it for one pair; and new groups for so many pairs."""


def grouped(table: RouteTable, locking: Locking, rules: Iterable[Addition]) -> tuple[Addition, ...]:
    """Rules, with groups in the place of pairs. Groups that are written already have their
    place; the others have none."""
    rules = tuple(rules)
    search = _Search(table, locking, {_pair(r) for r in rules if _plain(r)})
    grown = [now for was, now in search.grow().items() if now != was]
    new: list[Addition] = list(search.begin())
    if not locking.groups or locking.places:
        new += search.places()
    rest = [r for r in rules if not _plain(r) or _pair(r) in search.missing]
    return (*grown, *new, *rest)


def _plain(rule: Addition) -> bool:
    return isinstance(rule, Locks) and not rule.when


def _pair(rule: Addition) -> Pair:
    assert isinstance(rule, Locks)
    return frozenset((rule.first, rule.second))


def _pairs(routes: Iterable[str]) -> set[Pair]:
    return set(map(frozenset, combinations(routes, 2)))


class _Search:
    """missing: the pairs that no group covers yet."""

    def __init__(self, table: RouteTable, locking: Locking, missing: set[Pair]) -> None:
        self.table = table
        self.locking = locking
        self.missing = missing
        apart = {_pair(lock) for lock in locking.locks if _plain(lock)}
        self.conflicts = apart | missing | set(map(frozenset, table.conflicts))
        wanted = [e.routes for e in locking.expectations if not e.never]
        wanted += [(need.route, need.other) for need in locking.needs_set]
        self.together = {frozenset(p) for routes in wanted for p in combinations(routes, 2)}
        # More than the track asks for: the writer wants one train at a time, say.
        tracks = set(map(frozenset, table.conflicts))
        self.strict = {
            group.span
            for group in locking.groups
            if not tracks.issuperset(map(frozenset, combinations(group.routes, 2)))
        }

    def grow(self) -> dict[OnlyOne, OnlyOne]:
        """The written groups, each with the routes that it lacked."""
        now = {group: group for group in self.locking.groups}
        while choices := [
            (self._gain(g, r), was, r) for was, g in now.items() for r in self._near(g)
        ]:
            gain, was, route = max(choices, key=lambda choice: choice[0])
            if not gain:
                break
            now[was] = OnlyOne((*now[was].routes, route), was.span)
            self._cover(now[was])
        return now

    def _near(self, group: OnlyOne) -> Iterator[str]:
        """The routes that a missing pair has beside one of a group."""
        inside = set(group.routes)
        found = {name for pair in self.missing if len(pair & inside) == 1 for name in pair - inside}
        yield from (name for name in self.table.routes if name in found)

    def _gain(self, group: OnlyOne, route: str) -> int:
        """How many missing pairs a group covers with one more route; none if that would not
        be what its writer meant."""
        pairs = [frozenset((route, other)) for other in group.routes]
        gain = len(self.missing.intersection(pairs))
        if not self.together.isdisjoint(pairs):
            return 0
        if self.conflicts.issuperset(pairs):
            return gain if gain > 1 or len(pairs) >= SMALL else 0
        return gain if gain > 1 and group.span in self.strict else 0

    def begin(self) -> Iterator[OnlyOne]:
        """New groups of the routes over one section, in a notebook that has groups and no
        places."""
        if not self.locking.groups or self.locking.places:
            return
        over = routes_over(self.table.routes.values())
        groups = [OnlyOne(tuple(names)) for names in over.values() if len(names) >= SMALL]
        while groups:
            group = max(groups, key=self._covers)
            if self._covers(group) < SMALL:
                return
            self._cover(group)
            yield group

    def places(self) -> Iterator[OnlyOneOver]:
        """Places over which one route at a time is what is missing."""
        over = routes_over(self.table.routes.values())
        places = [OnlyOneOver(section, tuple(names)) for section, names in over.items()]
        places = [p for p in places if self.together.isdisjoint(_pairs(p.routes))]
        while places:
            place = max(places, key=lambda p: (self._forgotten(p), -len(p.routes)))
            if not self._forgotten(place):
                return
            self._cover(place)
            yield place

    def _forgotten(self, place: OnlyOneOver) -> int:
        """How many missing pairs a place covers; none if it is not worth it."""
        covered = self.missing.intersection(_pairs(place.routes))
        worth = self.locking.places or any(
            {frozenset((one, third)), frozenset((other, third))} <= covered
            for one, other in map(sorted, covered)
            for third in place.routes
        )
        return len(covered) if worth else 0

    def _covers(self, group: OnlyOne) -> int:
        """How many missing pairs a group covers; none if it has routes that no such pair has."""
        routes = set(group.routes)
        covered = [pair for pair in self.missing if pair <= routes]
        return len(covered) if routes == frozenset().union(*covered) else 0

    def _cover(self, group: OnlyOne | OnlyOneOver) -> None:
        routes = set(group.routes)
        self.missing = {pair for pair in self.missing if not pair <= routes}
