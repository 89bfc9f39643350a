"""Written rules that could be left out, all together, and everything would still hold.

Deletion-based minimisation, as the deletion filter of J. W. Chinneck and E. W. Dravnieks,
"Locating Minimal Infeasible Constraint Sets in Linear Programs" (1991): the rules are gone
through once, and each is left out for good if everything is proved without it. Of rules
that only forbid, one that was wanted once is wanted beside fewer too, so that what stays is
minimal: none can go. It need not be the smallest set that would do.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace

from bellcrank.diagnostics import Span
from bellcrank.layout.layout_model import Layout
from bellcrank.machine.build_machine import build_machine
from bellcrank.machine.locking import Locking, Locks, Needs, NeedsClear, NeedsSet, OnlyOne
from bellcrank.machine.wording import Every, Rule
from bellcrank.proof.moving.brief import Brief
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.proof.moving.story import restricted, track_near
from bellcrank.proof.repair.missing_rules import MOST_STATES
from bellcrank.proof.repair.runs import Replays, Run, run_of, wrong_runs
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
    """A rule as the text has it: one pair of a list, or one line about all routes.

    parts: the numbers of its rules in the locking.
    """

    rule: Rule
    parts: frozenset[int]

    @property
    def routes(self) -> frozenset[str]:
        """The routes that it is about; none for one about all."""
        match self.rule:
            case Locks():
                return frozenset((self.rule.first, self.rule.second))
            case NeedsSet():
                return frozenset((self.rule.route, self.rule.other))
            case OnlyOne():
                return frozenset(self.rule.routes)
            case Every():
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
    for line in program.of(t.LockingLine):
        for said in line.rules:
            match said:
                case t.EveryPositions():
                    lines[said.span] = Every("positions", said.span)
                case t.EverySectionsClear():
                    lines[said.span] = Every("sections clear", said.span)
                case t.EveryDriveClear():
                    lines[said.span] = Every("section clear", said.span)
    parts: dict[Span, list[int]] = {span: [] for span in lines}
    units = []
    for number, rule in enumerate(_rules(locking)):
        if rule.span in parts:
            parts[rule.span].append(number)
        elif rule.span is not None:
            units.append(_Unit(rule, frozenset((number,))))
    units += [_Unit(every, frozenset(parts[span])) for span, every in lines.items()]
    files = {file.name: place for place, file in enumerate(program.files)}
    return sorted(units, key=lambda unit: _place(unit.rule, files))


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

    def left(self) -> float | None:
        return None if self.deadline is None else self.deadline - time.monotonic()

    def run(self, units: Sequence[_Unit]) -> Spare:
        gone: list[_Unit] = []
        complete = True
        for number, unit in enumerate(reversed(units), start=1):
            left = self.left()
            if left is not None and left <= 0:
                complete = False
                break
            self.progress(f"trying without each rule: {number} of {len(units)}")
            outcome = self.without([*gone, unit], unit.routes)
            if outcome == "proved":
                gone.append(unit)
            complete = complete and outcome != "undecided"
        return Spare(tuple(unit.rule for unit in reversed(gone)), complete)

    def without(self, units: Sequence[_Unit], routes: Collection[str]) -> Outcome:
        """What is known of the locking without some rules, the last of which is about
        these routes."""
        locking = _without(self.locking, units)
        standing = check_standing(self.layout, self.table, locking, self.left())
        if standing.outcome != "proved":
            return standing.outcome
        machine = build_machine(self.layout, self.table, locking)
        replays = Replays(self.layout, self.table, locking, machine.invariants)
        if any(run.routes.issuperset(routes) and replays.goes_wrong(run, ()) for run in self.known):
            return "refuted"
        for some in [routes] if routes else [{route} for route in self.table.routes]:
            parts = frozenset[str]().union(*(self.near.get(r, frozenset()) for r in some))
            events = restricted(machine, frozenset(some), parts)
            runs = wrong_runs(machine, events, MOST_STATES, self.deadline)
            if runs:
                self.known += runs
                return "refuted"
        moving = Brief(machine, replace(self.effort, seconds=self.left()), self.progress).verdict()
        if moving.stopped:
            self.deadline = 0.0
        self.known += [run_of(machine, r.story) for r in moving.results if r.story is not None]
        return moving.outcome
