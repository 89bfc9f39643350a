"""Written rules that could be left out, all together, and everything would still hold.

Deletion-based minimisation, as the deletion filter of J. W. Chinneck and E. W. Dravnieks,
"Locating Minimal Infeasible Constraint Sets in Linear Programs" (1991): the rules are gone
through, the last first, and each is left out for good if everything is proved without it. Of
rules that only forbid, one that was wanted once is wanted beside fewer too, so that what
stays is minimal: none can go. It need not be the smallest set that would do. For the same
reason many are tried at once, and halves of them only if that fails, as in QuickXplain (U.
Junker, 2004). What routes as they stand do without is found first (`standing_without.py`), and
only that is tried for trains as they move.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from bellcrank.diagnostics import Span
from bellcrank.layout.layout_model import Layout
from bellcrank.machine.build_machine import build_machine
from bellcrank.machine.locking import Locking, Locks, Needs, NeedsClear, NeedsSet, OnlyOne
from bellcrank.machine.wording import Every, InGroup, Rule
from bellcrank.proof.moving.brief import Brief
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.proof.moving.story import left_alone, restricted, track_near
from bellcrank.proof.repair.missing_rules import MOST_STATES
from bellcrank.proof.repair.runs import Replays, Run, run_of, wrong_runs
from bellcrank.proof.repair.standing_lessons import OutOfTimeError
from bellcrank.proof.repair.standing_without import StandingWithout
from bellcrank.proof.standing.standing_check import check_standing
from bellcrank.proof.verdict import Outcome
from bellcrank.routes.route_model import RouteTable
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import Program

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Spare:
    """Rules without which everything is proved as it is with them.

    rules: in the order of the text.
    complete: whether every other rule is known to be wanted beside the rest; if not,
        some were kept because no proof was found without them, or time ran out.
    """

    rules: tuple[Rule, ...]
    complete: bool


@dataclass(frozen=True, slots=True)
class _Unit:
    """A rule as the text has it: one pair of a list, one route of a group, or one line
    about all routes.

    parts: the numbers of its rules in the locking. group: the one that it is of.
    """

    rule: Rule
    parts: frozenset[int]
    group: OnlyOne | None = None

    @property
    def routes(self) -> frozenset[str]:
        """The routes that it is about; none for one about many."""
        match self.rule:
            case Locks():
                return frozenset((self.rule.first, self.rule.second))
            case NeedsSet():
                return frozenset((self.rule.route, self.rule.other))
            case OnlyOne() | InGroup() | Every():
                return frozenset()
            case _:
                return frozenset((self.rule.route,))


def spare_rules(
    program: Program,
    layout: Layout,
    table: RouteTable,
    locking: Locking,
    effort: Effort | None = None,
    progress: Progress | None = None,
) -> Spare:
    """Written rules that can be left out of a locking that is proved.

    The last of the text is tried first; each goes only if everything is proved anew
    without it and without those gone before.
    """
    search = _Search(layout, table, locking, effort or Effort(), progress or (lambda _: None))
    return search.run(_units(program, locking))


def _units(program: Program, locking: Locking) -> list[_Unit]:
    """The written rules in the order of the text."""
    lines: dict[Span, Every] = {}
    groups: list[_Unit] = []
    pairs: dict[tuple[Span, str, str], list[int]] = {}
    rules = _rules(locking)
    for number, rule in enumerate(rules):
        if isinstance(rule, Locks) and rule.span is not None:
            pairs.setdefault((rule.span, rule.first, rule.second), []).append(number)
    names = {group.span: group.routes for group in locking.groups}
    in_groups: set[int] = set()
    for line in program.of(t.LockingLine):
        for said in line.rules:
            match said:
                case t.EveryPositions():
                    lines[said.span] = Every("positions", said.span)
                case t.EverySectionsClear():
                    lines[said.span] = Every("sections clear", said.span)
                case t.EveryDriveClear():
                    lines[said.span] = Every("section clear", said.span)
                case t.OnlyOneRule():
                    group = OnlyOne(names[said.span], said.span)
                    members = dict(
                        zip(group.routes, (ref.span for ref in said.routes), strict=True)
                    )
                    own: dict[str, set[int]] = {route: set() for route in members}
                    for one, other in combinations(group.routes, 2):
                        found = pairs[members[other], one, other]
                        own[one].update(found)
                        own[other].update(found)
                        in_groups.update(found)
                    for route, span in members.items():
                        unit = _Unit(InGroup(route, span), frozenset(own[route]), group)
                        groups.append(unit)
    parts: dict[Span, list[int]] = {span: [] for span in lines}
    units = []
    for number, rule in enumerate(rules):
        if rule.span in parts:
            parts[rule.span].append(number)
        elif rule.span is not None and number not in in_groups:
            units.append(_Unit(rule, frozenset((number,))))
    units += groups
    units += [_Unit(every, frozenset(parts[span])) for span, every in lines.items()]
    files = {file.name: place for place, file in enumerate(program.files)}
    return sorted(units, key=lambda unit: _place(unit.rule, files))


def _told(gone: Sequence[_Unit]) -> tuple[Rule, ...]:
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


def _place(rule: Rule, files: dict[str, int]) -> tuple[int, int, int]:
    assert rule.span is not None
    return files[rule.span.file], rule.span.line, rule.span.column


def _rules(locking: Locking) -> tuple[Rule, ...]:
    return (*locking.locks, *locking.needs, *locking.needs_set, *locking.needs_clear)


def _without(locking: Locking, units: Collection[_Unit]) -> Locking:
    gone = frozenset[int]().union(*(unit.parts for unit in units))
    kept = [rule for number, rule in enumerate(_rules(locking)) if number not in gone]
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


class _Search:
    """One search in progress. known: runs that go wrong without one rule or another."""

    def __init__(
        self,
        layout: Layout,
        table: RouteTable,
        locking: Locking,
        effort: Effort,
        progress: Progress,
    ) -> None:
        self.layout = layout
        self.table = table
        self.locking = locking
        self.effort = effort
        self.progress = progress
        self.deadline = None if effort.seconds is None else time.monotonic() + effort.seconds
        self.near = track_near(build_machine(layout, table, locking))
        self.known: list[Run] = []
        self.complete = True

    def left(self) -> float | None:
        return None if self.deadline is None else self.deadline - time.monotonic()

    def run(self, units: Sequence[_Unit]) -> Spare:
        never_set = check_standing(self.layout, self.table, self.locking, self.left()).never_set
        parts = [unit.parts for unit in units]
        self.standing = StandingWithout(
            self.layout, self.table, self.locking, parts, never_set, self.deadline
        )
        wanted: set[int] = set()
        gone: list[int] = []
        order = range(len(units) - 1, -1, -1)
        try:
            while True:
                # What stands without trains; one that these then need may free another.
                more = self.without_trains([n for n in order if n not in wanted], gone)
                more = [n for n in more if n not in gone]
                if not more:
                    break
                before = len(wanted)
                self.try_many(units, more, gone, wanted)
                if len(wanted) == before:
                    break
        except OutOfTimeError:
            self.complete = False
        return Spare(_told([units[n] for n in sorted(gone)]), self.complete)

    def without_trains(self, some: Sequence[int], gone: Sequence[int]) -> list[int]:
        """Of some units, with those gone, as many as routes that stand do without."""
        found = list(gone)
        for stretch in _halving([n for n in some if n not in gone], self.standing_does, found):
            self.progress(f"trying without each rule: {len(stretch)} in question")
        return found

    def standing_does(self, units: Collection[int]) -> bool:
        self.in_time()
        return self.standing.safe_without(units)

    def in_time(self) -> None:
        left = self.left()
        if left is not None and left <= 0:
            raise OutOfTimeError

    def try_many(
        self, units: Sequence[_Unit], some: list[int], gone: list[int], wanted: set[int]
    ) -> None:
        """Leave out as many of some units as everything is proved without, beside those
        gone; the others are wanted."""
        self.in_time()
        self.progress(f"trying without {len(some)} of {len(units)} rules")
        routes = units[some[0]].routes if len(some) == 1 else frozenset[str]()
        outcome = self.without([units[n] for n in (*gone, *some)], routes)
        if outcome == "proved":
            gone += some
        elif len(some) == 1:
            wanted.update(some)
            self.complete = self.complete and outcome != "undecided"
        else:
            half = len(some) // 2
            self.try_many(units, some[:half], gone, wanted)
            self.try_many(units, some[half:], gone, wanted)

    def without(self, units: Sequence[_Unit], routes: Collection[str]) -> Outcome:
        """What is known of the locking without some rules. routes: look first, with their
        events alone, for what goes wrong."""
        locking = _without(self.locking, units)
        machine = build_machine(self.layout, self.table, locking)
        replays = Replays(self.layout, self.table, locking, machine.invariants)
        if any(replays.goes_wrong(run, ()) for run in self.known):
            return "refuted"
        if routes:
            parts = frozenset[str]().union(*(self.near.get(r, frozenset()) for r in routes))
            alone = left_alone(machine.events)
            events = restricted(machine, alone, frozenset(routes), parts)
            runs = wrong_runs(machine, events, MOST_STATES, self.deadline)
            if runs:
                self.known += runs
                return "refuted"
        moving = Brief(machine, replace(self.effort, seconds=self.left()), self.progress).verdict()
        if moving.interrupted:
            raise KeyboardInterrupt
        if moving.stopped:
            raise OutOfTimeError
        self.known += [run_of(machine, r.story) for r in moving.results if r.story is not None]
        if moving.outcome != "proved":
            return moving.outcome
        return check_standing(self.layout, self.table, locking, self.left()).outcome


def _halving(
    some: Sequence[int], does: Callable[[Collection[int]], bool], found: list[int]
) -> Iterator[Sequence[int]]:
    """Add to what was found as many more as it does without, in their order; tells each
    stretch that is tried."""
    stretches = [some] if some else []
    while stretches:
        stretch = stretches.pop()
        yield stretch
        if does([*found, *stretch]):
            found += stretch
        elif len(stretch) > 1:
            half = len(stretch) // 2
            stretches += [stretch[half:], stretch[:half]]
