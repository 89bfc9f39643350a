"""What keeps routes as they stand safe, danger by danger, and each time by which rules.

Every danger is of one route or of two: two are set over one section, one is set while a drive
lies wrong for it. Rules only forbid, so whether two routes can be set together is told by the
rules between those two: a lock, or a drive that both need and in two positions. So no solver
is needed to say which rules can go; that everything is proved without them is shown in the
end, by the provers and from the text alone.

To leave out rules one by one, as long as each danger keeps a protection, is the greedy
heuristic for a minimal set cover with redundant sets removed; see V. V. Vazirani,
"Approximation Algorithms" (2001), chapter 2. Here the order is that in which a person would
rather see rules go, and the result is minimal, not smallest.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from itertools import combinations, product

from bellcrank.machine.locking import Locking, Locks, Needs
from bellcrank.proof.repair.rule_units import Unit, single_rules
from bellcrank.proof.standing.obligations import Apart, Exclusive, Lies, obligations
from bellcrank.routes.route_model import RouteTable

Protection = frozenset[int]
"""Units, by their numbers, that keep from a danger as long as all of them stay."""


class Cover:
    """Dangers, each with its protections, and which units may go without a danger losing its
    last one."""

    def __init__(self) -> None:
        self.dangers: list[tuple[Protection, ...]] = []
        self.of_unit: dict[int, list[int]] = defaultdict(list)

    def add(self, protections: Iterable[Protection]) -> None:
        """A danger and what keeps from it; one that derived rules keep from is none."""
        several = tuple(dict.fromkeys(protections))
        if not all(several):
            return
        for unit in sorted(frozenset[int]().union(*several)):
            self.of_unit[unit].append(len(self.dangers))
        self.dangers.append(several)

    def can_go(self, order: Iterable[int], kept: Collection[int]) -> list[int]:
        """Units that can go all together, tried in an order. kept: those that must stay."""
        gone: set[int] = set()
        found = []
        for unit in order:
            if unit in kept:
                continue
            gone.add(unit)
            if self.holds(unit, gone):
                found.append(unit)
            else:
                gone.remove(unit)
        return found

    def holds(self, unit: int, gone: Collection[int]) -> bool:
        """Whether each danger that a unit has to do with keeps a protection."""
        return all(
            any(protection.isdisjoint(gone) for protection in self.dangers[number])
            for number in self.of_unit.get(unit, ())
        )


def standing_cover(
    table: RouteTable, locking: Locking, units: Sequence[Unit], never_set: Collection[str]
) -> Cover:
    """The dangers of routes as they stand. never_set: routes that cannot be set at all."""
    protecting = _Protecting(locking, units)
    cover = Cover()
    pairs: dict[frozenset[str], None] = {}
    for danger in obligations(table):
        match danger:
            case Exclusive():
                pairs |= dict.fromkeys(map(frozenset, combinations(danger.routes, 2)))
            case Apart():
                pairs |= dict.fromkeys(frozenset((danger.route, o)) for o in danger.others)
            case Lies():
                if danger.route not in never_set:
                    cover.add(protecting.lying(danger.route, *danger.position))
    for expectation in locking.expectations:
        if expectation.never:
            pairs[frozenset(expectation.routes)] = None
    for pair in pairs:
        if pair.isdisjoint(never_set):
            cover.add(protecting.apart(*sorted(pair)))
    return cover


class _Protecting:
    """What keeps routes apart and drives in place, as units.

    holders: for each rule of the locking, by its number, the units that it goes with.
    """

    def __init__(self, locking: Locking, units: Sequence[Unit]) -> None:
        rules = single_rules(locking)
        holders: dict[int, set[int]] = defaultdict(set)
        for number, unit in enumerate(units):
            for part in unit.parts:
                holders[part].add(number)
        self.locks: dict[frozenset[str], list[tuple[Locks, Protection]]] = defaultdict(list)
        needs: dict[tuple[str, str, str], set[Protection]] = defaultdict(set)
        self.positions: dict[str, dict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
        for number, rule in enumerate(rules):
            held = frozenset(holders.get(number, ()))
            if isinstance(rule, Locks):
                self.locks[frozenset((rule.first, rule.second))].append((rule, held))
            elif isinstance(rule, Needs):
                needs[rule.route, rule.drive, rule.position].add(held)
                self.positions[rule.route][rule.drive].add(rule.position)
        self.needs = needs

    def lying(self, route: str, drive: str, position: str) -> Collection[Protection]:
        """What has a drive lie right for a route."""
        return _ordered(self.needs.get((route, drive, position), ()))

    def apart(self, one: str, other: str) -> Iterator[Protection]:
        """What keeps two routes from being set together."""
        both = (one, other)
        unsure: list[Protection] = []
        for lock, held in self.locks.get(frozenset(both), ()):
            if not lock.when:
                yield held
                continue
            wanted = [
                _ordered(need for route in both for need in self.needs.get((route, *position), ()))
                for position in lock.when
            ]
            for needs in product(*wanted):
                yield held.union(*needs)
            unsure.append(held)
        theirs = self.positions[other]
        for drive, positions in self.positions[one].items():
            for mine in positions:
                for yours in theirs.get(drive, ()):
                    if mine != yours:
                        for pair in product(
                            _ordered(self.needs[one, drive, mine]),
                            _ordered(self.needs[other, drive, yours]),
                        ):
                            yield pair[0] | pair[1]
        if len(unsure) > 1:
            # Locks with conditions of which one is always met: not looked into.
            yield frozenset[int]().union(*unsure)


def _ordered(protections: Iterable[Protection]) -> list[Protection]:
    return sorted(protections, key=sorted)
