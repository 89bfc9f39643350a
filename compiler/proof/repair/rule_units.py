"""Written rules as units that can be left out by themselves: what a person would delete.

One pair of a list, one route of a group, one place of a list of places, or one line about
all routes. What a unit stands for are rules of the locking, by their numbers in it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from bellcrank.diagnostics import Span
from bellcrank.machine.locking import (
    Locking,
    Locks,
    Needs,
    NeedsClear,
    NeedsSet,
    OnlyOne,
    OnlyOneOver,
)
from bellcrank.machine.wording import Every, InGroup, Rule
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import Program

SingleRule = Locks | Needs | NeedsSet | NeedsClear


@dataclass(frozen=True, slots=True)
class Unit:
    """A rule as the text has it.

    parts: the numbers of its rules in the locking. group: the one that it is of.
    """

    rule: Rule
    parts: frozenset[int]
    group: OnlyOne | None = None


def single_rules(locking: Locking) -> tuple[SingleRule, ...]:
    """The rules of a locking by their numbers."""
    return (*locking.locks, *locking.needs, *locking.needs_set, *locking.needs_clear)


def units_of(program: Program, locking: Locking) -> list[Unit]:
    """The written rules in the order of the text."""
    rules = single_rules(locking)
    lines = [rule for line in program.of(t.LockingLine) for rule in line.rules]
    units = [*_in_groups(lines, locking), *_over_places(locking, rules)]
    taken = frozenset[int]().union(*(unit.parts for unit in units))
    every = _every(lines)
    parts: dict[Span, list[int]] = {span: [] for span in every}
    for number, rule in enumerate(rules):
        if rule.span in parts:
            parts[rule.span].append(number)
        elif rule.span is not None and number not in taken:
            units.append(Unit(rule, frozenset((number,))))
    units += [Unit(rule, frozenset(parts[span])) for span, rule in every.items()]
    files = {file.name: place for place, file in enumerate(program.files)}
    return sorted(units, key=lambda unit: _place(unit.rule, files))


def _every(lines: Iterable[t.Rule]) -> dict[Span, Every]:
    found: dict[Span, Every] = {}
    for line in lines:
        match line:
            case t.EveryPositions():
                found[line.span] = Every("positions", line.span)
            case t.EverySectionsClear():
                found[line.span] = Every("sections clear", line.span)
            case t.EveryDriveClear():
                found[line.span] = Every("section clear", line.span)
    return found


def _in_groups(lines: Iterable[t.Rule], locking: Locking) -> list[Unit]:
    """One unit for each route of a group; the pair of two goes with either."""
    groups = {group.span: group for group in locking.groups}
    pairs: dict[tuple[Span, str, str], list[int]] = {}
    for number, lock in enumerate(locking.locks):
        if lock.span is not None:
            pairs.setdefault((lock.span, lock.first, lock.second), []).append(number)
    units = []
    for line in lines:
        if not isinstance(line, t.OnlyOneRule):
            continue
        group = groups[line.span]
        spans = dict(zip(group.routes, (ref.span for ref in line.routes), strict=True))
        own: dict[str, set[int]] = {route: set() for route in spans}
        for one, other in combinations(group.routes, 2):
            for route in (one, other):
                own[route].update(pairs[spans[other], one, other])
        for route, span in spans.items():
            units.append(Unit(InGroup(route, span), frozenset(own[route]), group))
    return units


def _over_places(locking: Locking, rules: Sequence[SingleRule]) -> list[Unit]:
    parts: dict[Span | None, list[int]] = {place.span: [] for place in locking.places}
    for number, rule in enumerate(rules):
        if isinstance(rule, Locks) and rule.over is not None:
            parts[rule.span].append(number)
    return [Unit(place, frozenset(parts[place.span])) for place in locking.places]


def _place(rule: Rule, files: Mapping[str, int]) -> tuple[int, int, int]:
    assert rule.span is not None
    return files[rule.span.file], rule.span.line, rule.span.column


def in_order_of_trial(units: Sequence[Unit]) -> list[int]:
    """The numbers of units, those first that are rather left out than others: rules about
    few routes before such as cover many, and of alike ones the last of the text."""
    numbers = range(len(units) - 1, -1, -1)
    return sorted(numbers, key=lambda number: _breadth(units[number].rule))


def _breadth(rule: Rule) -> int:
    match rule:
        case Every():
            return 3
        case OnlyOneOver():
            return 2
        case OnlyOne() | InGroup():
            return 1
        case _:
            return 0


def without(locking: Locking, units: Collection[Unit]) -> Locking:
    """A locking without some of its written rules."""
    return among_without(locking, enumerate(single_rules(locking)), units)


def among_without(
    locking: Locking, rules: Iterable[tuple[int, SingleRule]], units: Collection[Unit]
) -> Locking:
    """The same with a few of its rules alone, which come with their numbers."""
    gone = frozenset[int]().union(*(unit.parts for unit in units))
    kept = [rule for number, rule in rules if number not in gone]
    lines = [unit.rule for unit in units]
    return replace(
        locking,
        locks=tuple(rule for rule in kept if isinstance(rule, Locks)),
        needs=tuple(rule for rule in kept if isinstance(rule, Needs)),
        needs_set=tuple(rule for rule in kept if isinstance(rule, NeedsSet)),
        needs_clear=tuple(rule for rule in kept if isinstance(rule, NeedsClear)),
        drives_need_clear=locking.drives_need_clear
        and (locking.derived or Every("section clear") not in lines),
    )


def as_told(gone: Sequence[Unit]) -> tuple[Rule, ...]:
    """The rules to delete, in the order of the text: of a group that is then of one route
    the whole."""
    left = {unit.group.span: len(unit.group.routes) for unit in gone if unit.group is not None}
    for unit in gone:
        if unit.group is not None:
            left[unit.group.span] -= 1
    told: list[Rule] = []
    whole: set[Span | None] = set()
    for unit in gone:
        group = unit.group
        if group is None or left[group.span] > 1:
            told.append(unit.rule)
        elif group.span not in whole:
            whole.add(group.span)
            told.append(group)
    return tuple(told)
