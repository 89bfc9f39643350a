"""Rules that written locking may lack: those of derived locking that are not written."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace
from itertools import combinations

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.locking import Locking, Locks, Needs, NeedsClear, OnlyOne, OnlyOneOver
from bellcrank.machine.rules import build_locking
from bellcrank.machine.wording import Every, Rule
from bellcrank.routes.route_model import RouteTable
from bellcrank.syntax.load import Program

Candidate = Locks | Needs | NeedsClear | Every

Addition = Candidate | OnlyOne | OnlyOneOver
"""A rule that is added: a candidate, or a group or a place in the place of several."""

MOST_RUNS = 60
"""Runs of one search that are looked into."""


def derived_locking(layout: Layout, table: RouteTable) -> Locking:
    """The locking of a layout as it would be had none been written."""
    return build_locking(Program((), {}), layout, table)[0]


def candidates(layout: Layout, table: RouteTable, locking: Locking) -> tuple[Candidate, ...]:
    """All rules that might be missing, in the order in which they are preferred."""
    derived = derived_locking(layout, table)
    apart = {frozenset((lock.first, lock.second)) for lock in locking.locks if not lock.when}
    pairs = {frozenset((lock.first, lock.second)): lock for lock in derived.locks}
    for expectation in locking.expectations:
        if expectation.never:
            one, other = expectation.routes
            pairs.setdefault(frozenset(expectation.routes), Locks(one, other))
    found: list[Candidate] = [lock for pair, lock in pairs.items() if pair not in apart]
    needs, clear = set(locking.needs), set(locking.needs_clear)
    found += [need for need in derived.needs if need not in needs]
    found += [need for need in derived.needs_clear if need not in clear]
    if not locking.drives_need_clear:
        found.append(Every("section clear"))
    return tuple(found)


def wrong_needs(table: RouteTable, locking: Locking) -> dict[Needs, list[Needs]]:
    """Written rules that have a drive lie wrong for a route, by the rule it should be."""
    found: dict[Needs, list[Needs]] = {}
    for need in locking.needs:
        position = table.routes[need.route].demands.get(need.drive, need.position)
        if position != need.position:
            found.setdefault(Needs(need.route, need.drive, position), []).append(need)
    return found


def with_rules(table: RouteTable, locking: Locking, rules: Iterable[Rule]) -> Locking:
    """A locking with more rules."""
    locks, needs, clear = list(locking.locks), list(locking.needs), list(locking.needs_clear)
    drives_need_clear = locking.drives_need_clear
    for rule in rules:
        match rule:
            case Locks():
                locks.append(rule)
            case Needs():
                needs.append(rule)
            case NeedsClear():
                clear.append(rule)
            case OnlyOne() | OnlyOneOver():
                locks += pairs_of(rule)
            case Every("section clear"):
                drives_need_clear = True
            case Every():
                needs += [n for n in meant_by(rule, table) if isinstance(n, Needs)]
                clear += [n for n in meant_by(rule, table) if isinstance(n, NeedsClear)]
    return replace(
        locking,
        locks=tuple(locks),
        needs=tuple(needs),
        needs_clear=tuple(clear),
        drives_need_clear=drives_need_clear,
    )


def pairs_of(group: OnlyOne | OnlyOneOver) -> list[Locks]:
    """The rules for two routes that a group, or a place, stands for."""
    return [Locks(one, other) for one, other in combinations(group.routes, 2)]


def meant_by(rule: Every, table: RouteTable) -> list[Needs | NeedsClear]:
    """The rules for single routes that one for every route stands for."""
    found: list[Needs | NeedsClear] = []
    for route in table.routes.values():
        if rule.needs == "positions":
            found += [Needs(route.name, d, p) for d, p in route.demands.items()]
        elif rule.needs == "sections clear":
            found += [NeedsClear(route.name, section) for section in route.sections_clear]
    return found


def concerns(rule: Candidate, routes: Collection[str]) -> bool:
    """Whether a rule can make a difference while only these routes are asked for."""
    match rule:
        case Locks():
            return rule.first in routes and rule.second in routes
        case Needs() | NeedsClear():
            return rule.route in routes
        case Every():
            return bool(routes)
