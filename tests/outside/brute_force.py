"""What a locking allows, found by trying every set of routes and every position.

No solver and nothing of the compiler is used: each set of up to four routes is
held against each rule, for each way in which all the drives can lie.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations, product

from plain_table import Lies, PlainRoute, conflict, overlap_entered, share_track

MOST_TOGETHER = 4
"""Routes in a set at most."""


@dataclass
class Rules:
    """A locking, over routes by their numbers in a list.

    needs: route, drive, position.
    locks: two routes, and the positions in which alone the rule counts.
    needs_set: a route and another that must be set with it.
    """

    needs: list[tuple[int, str, str]] = field(default_factory=list)
    locks: list[tuple[int, int, Lies]] = field(default_factory=list)
    needs_set: list[tuple[int, int]] = field(default_factory=list)

    def plus(self, other: Rules) -> Rules:
        return Rules(
            self.needs + other.needs,
            self.locks + other.locks,
            self.needs_set + other.needs_set,
        )


def derived_rules(routes: Sequence[PlainRoute]) -> Rules:
    """The rules that keep every conflicting pair apart and hold every drive."""
    needs = [(i, d, p) for i, route in enumerate(routes) for d, p in route.demands()]
    pairs = combinations(range(len(routes)), 2)
    locks: list[tuple[int, int, Lies]] = [
        (i, j, {}) for i, j in pairs if conflict(routes[i], routes[j])
    ]
    return Rules(needs, locks)


@dataclass
class Findings:
    """What can stand under a locking, and what of it is unsafe.

    refuted: the properties that some allowed state violates.
    pairs: pairs that stand together though they must not.
    wrong: a route set while a drive it needs does not lie as it needs it.
    unsafe: all sets in which something is unsafe.
    together: all sets of two that can stand, perhaps among others, some of the routes that
        they needed having been used and released.
    at_once: those that can stand with all that they need.
    """

    refuted: set[str] = field(default_factory=set)
    pairs: set[tuple[int, int]] = field(default_factory=set)
    wrong: set[tuple[int, str, str]] = field(default_factory=set)
    unsafe: set[frozenset[int]] = field(default_factory=set)
    settable: set[int] = field(default_factory=set)
    together: set[tuple[int, int]] = field(default_factory=set)
    at_once: set[tuple[int, int]] = field(default_factory=set)

    @property
    def smallest(self) -> int | None:
        return min(map(len, self.unsafe), default=None)


def positions_of_all(drives: Mapping[str, Sequence[str]]) -> Iterator[Lies]:
    """Every way in which all the drives can lie."""
    for choice in product(*drives.values()):
        yield dict(zip(drives, choice, strict=True))


def allowed_sets(count: int, lies: Lies, rules: Rules) -> Iterator[tuple[int, ...]]:
    """Sets of up to four routes that the rules let stand while the drives lie so."""
    barred = {route for route, drive, position in rules.needs if lies[drive] != position}
    free = [i for i in range(count) if i not in barred]
    apart = {
        frozenset((i, j))
        for i, j, when in rules.locks
        if all(lies[drive] == position for drive, position in when.items())
    }
    for size in range(1, MOST_TOGETHER + 1):
        for chosen in combinations(free, size):
            if any(frozenset(pair) in apart for pair in combinations(chosen, 2)):
                continue
            yield chosen


def with_all_needed(chosen: Sequence[int], rules: Rules) -> frozenset[int]:
    """Routes, and those that must be set before them."""
    found = set(chosen)
    while more := {other for route, other in rules.needs_set if route in found} - found:
        found |= more
    return frozenset(found)


def find(
    routes: Sequence[PlainRoute], drives: Mapping[str, Sequence[str]], rules: Rules
) -> Findings:
    """Try everything."""
    found = Findings()
    numbers = range(len(routes))
    on_track = {p for p in combinations(numbers, 2) if share_track(routes[p[0]], routes[p[1]])}
    in_overlap = {
        p for p in combinations(numbers, 2) if overlap_entered(routes[p[0]], routes[p[1]])
    }
    for lies in positions_of_all(drives):
        for chosen in allowed_sets(len(routes), lies, rules):
            if with_all_needed(chosen, rules) == set(chosen):
                found.settable.update(chosen)
                found.at_once.update(combinations(chosen, 2))
    for lies in positions_of_all(drives):
        wrong = {i: list(_lies_wrong(route, lies)) for i, route in enumerate(routes)}
        for chosen in allowed_sets(len(routes), lies, rules):
            if not found.settable.issuperset(chosen):
                continue
            for pair in combinations(chosen, 2):
                found.together.add(pair)
                if pair in on_track:
                    found.refuted.add("track")
                if pair in in_overlap:
                    found.refuted.add("overlaps")
                if pair in on_track or pair in in_overlap:
                    found.pairs.add(pair)
                    found.unsafe.add(with_all_needed(chosen, rules))
            for route in chosen:
                for name, drive, position in wrong[route]:
                    found.refuted.add(name)
                    found.wrong.add((route, drive, position))
                    found.unsafe.add(with_all_needed(chosen, rules))
    return found


def _lies_wrong(route: PlainRoute, lies: Lies) -> Iterator[tuple[str, str, str]]:
    for name, needed in (
        ("positions", route.positions),
        ("overlaps", route.overlap_positions),
        ("flanks", route.flank),
    ):
        for drive, position in needed.items():
            if lies[drive] != position:
                yield name, drive, position
