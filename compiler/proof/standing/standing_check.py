"""The standing check: is any set of routes unsafe that the locking allows?

z3 decides each property and each expectation. The obligations are decided in
batches, each with the rules among its own routes, so that work grows with the
layout; what these few rules do not settle is asked again with all rules. What
is refuted is looked at until a smallest unsafe set is known, and the rule that
is missing.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from functools import cached_property

import z3

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.locking import (
    Expectation,
    Locking,
    Locks,
    Needs,
    written_rules_between,
)
from bellcrank.machine.wording import rule_with_place
from bellcrank.proof.standing.forbidding import forbidding
from bellcrank.proof.standing.obligations import (
    SENTENCES,
    Obligation,
    PropertyName,
    Script,
    ScriptWriter,
    obligations,
)
from bellcrank.proof.verdict import (
    ExpectationResult,
    Hazard,
    Outcome,
    PropertyResult,
    Verdict,
    assumptions,
)
from bellcrank.routes.route_model import Route, RouteTable
from bellcrank.routes.sentences import why_conflict

BATCH = 64
"""Routes in one batch of obligations, unless a single obligation names more."""

MOST_HAZARDS = 200
"""Unsafe sets looked for before the rest is left uncounted."""

Progress = Callable[[str], None]


def can_stand(
    layout: Layout, table: RouteTable, locking: Locking, routes: Sequence[str]
) -> bool | None:
    """Whether the locking lets routes be set together; None if z3 cannot tell."""
    check = _Check(layout, table, locking, None, lambda _: None)
    answer = check.ask(*(check.symbol(check.script.routes[name]) for name in routes))
    return {"sat": True, "unsat": False}.get(answer)


def check_standing(
    layout: Layout,
    table: RouteTable,
    locking: Locking,
    seconds: float | None = None,
    progress: Progress | None = None,
) -> Verdict:
    """Decide every property and expectation of a layout without errors.

    seconds: a limit on the whole check; what is not decided by then is undecided.
    progress: told, in a few words, what is being done.
    """
    check = _Check(layout, table, locking, seconds, progress or (lambda _: None))
    return check.verdict()


class _Check:
    def __init__(
        self,
        layout: Layout,
        table: RouteTable,
        locking: Locking,
        seconds: float | None,
        progress: Progress,
    ) -> None:
        self.layout = layout
        self.table = table
        self.locking = locking
        self.progress = progress
        self.obligations = obligations(table)
        self.deadline = None if seconds is None else time.monotonic() + seconds
        self.writer = ScriptWriter(layout, table, locking)

    @cached_property
    def script(self) -> Script:
        """The script over everything, written when first asked for."""
        self.progress("stating all rules")
        return self.writer.whole()

    @cached_property
    def solver(self) -> z3.Solver:
        """The solver that knows all rules."""
        return _solver(self.script.text)

    def symbol(self, name: str) -> z3.BoolRef:
        return z3.Bool(name, self.solver.ctx)

    def ask(self, *assumed: z3.BoolRef, solver: z3.Solver | None = None) -> str:
        """ "sat", "unsat" or "unknown", within what is left of the time."""
        solver = solver or self.solver
        if self.deadline is not None:
            left = int((self.deadline - time.monotonic()) * 1000)
            if left <= 0:
                return "unknown"
            solver.set("timeout", left)
        return str(solver.check(*assumed))

    # ------------------------------------------------------------- the whole

    def verdict(self) -> Verdict:
        properties = []
        for name, sentence in SENTENCES.items():
            self.progress(f"deciding: {sentence}")
            own = [o for o in self.obligations if o.violates == name]
            outcome = self.decide(name, own)
            properties.append(PropertyResult(name, sentence, outcome, len(own)))
        refuted = [p.name for p in properties if p.outcome == "refuted"]
        hazards, complete = self.hazards(refuted)
        complete = complete and all(p.outcome != "undecided" for p in properties)
        self.progress("deciding the expectations")
        expectations = tuple(self.expectation(e) for e in self.locking.expectations)
        self.progress("looking for routes that can never be set")
        settable = dict(self.settable())
        version = f"z3 {z3.get_version_string()}"
        return Verdict(
            tuple(properties),
            hazards,
            complete,
            expectations,
            tuple(name for name, answer in settable.items() if answer == "unsat"),
            "unknown" not in settable.values(),
            assumptions(self.layout),
            version,
        )

    def decide(self, name: PropertyName, own: Sequence[Obligation]) -> Outcome:
        """Proved if no batch of a property's obligations can be violated."""
        for batch in list(_batches(own)) or [[]]:
            script = self.writer.part(batch)
            solver = _solver(script.text)
            violated = z3.Bool(script.violations[name], solver.ctx)
            if self.ask(violated, solver=solver) != "unsat":
                # The rules among these routes do not settle it; all rules may.
                return _OUTCOMES[self.ask(self.symbol(self.script.violations[name]))]
        return "proved"

    def settable(self) -> Iterator[tuple[str, str]]:
        """Whether routes can be set at all, of those for which it is not plain.

        Most can plainly be set alone: a state in which nothing else is set and
        its drives lie as needed breaks no rule. z3 is asked about the others.
        """
        needs: dict[str, dict[str, str]] = {name: {} for name in self.table.routes}
        torn = {need.route for need in self.locking.needs_set}
        for need in self.locking.needs:
            if needs[need.route].setdefault(need.drive, need.position) != need.position:
                torn.add(need.route)
        for name in self.table.routes:
            if name in torn:
                yield name, self.ask(self.symbol(self.script.routes[name]))

    # --------------------------------------------------------------- hazards

    def hazards(self, refuted: Sequence[PropertyName]) -> tuple[tuple[Hazard, ...], bool]:
        """Unsafe sets, the smallest first, each with the rule that is missing."""
        if not refuted:
            return (), True
        self.progress("looking for the smallest unsafe set")
        routes = [self.symbol(s) for s in self.script.routes.values()]
        violated = z3.Or([self.symbol(self.script.violations[name]) for name in refuted])
        found: list[Hazard] = []
        answer = "sat"
        self.solver.push()
        self.solver.add(violated)
        for most in range(1, len(routes) + 1):
            if len(found) >= MOST_HAZARDS or answer == "unknown":
                break
            if most > 2 and self.ask() == "unsat":
                answer = "unsat"
                break
            self.solver.push()
            self.solver.add(z3.AtMost(*routes, most))
            ruled_out = []
            while len(found) < MOST_HAZARDS and (answer := self.ask()) == "sat":
                for hazard, exclude in self.in_model(self.solver.model(), refuted):
                    found.append(hazard)
                    self.solver.add(exclude)
                    ruled_out.append(exclude)
            self.solver.pop()
            # What was found is out of the question for larger sets as well.
            self.solver.add(*ruled_out)
        complete = answer == "unsat" and len(found) < MOST_HAZARDS
        self.solver.pop()
        order = {name: index for index, name in enumerate(self.table.routes)}
        found.sort(key=lambda h: (len(h.routes), [order[r] for r in h.routes], h.missing))
        return tuple(found), complete

    def in_model(
        self, model: z3.ModelRef, refuted: Sequence[PropertyName]
    ) -> Iterator[tuple[Hazard, z3.BoolRef]]:
        """The violations in one state, each with the term that rules it out."""
        held = {
            name for name, s in self.script.routes.items() if z3.is_true(model.eval(self.symbol(s)))
        }
        standing = [route for name, route in self.table.routes.items() if name in held]
        for index, route in enumerate(standing):
            yield from self._lies_wrong(route, model, refuted, held)
            for other in standing[index + 1 :]:
                yield from self._meet(route, other, refuted, held)

    def _lies_wrong(
        self,
        route: Route,
        model: z3.ModelRef,
        refuted: Sequence[PropertyName],
        held: set[str],
    ) -> Iterator[tuple[Hazard, z3.BoolRef]]:
        wanted: tuple[tuple[PropertyName, tuple[tuple[str, str], ...], str], ...] = (
            ("positions", route.positions, "on its way"),
            ("overlaps", route.overlap_positions, "in its overlap"),
            ("flanks", route.flank, "on its flank"),
        )
        for name, positions, where in wanted:
            if name not in refuted:
                continue
            for drive, position in positions:
                term = self.lies(drive, position)
                if not z3.is_false(model.eval(term, model_completion=True)):
                    continue
                other = next(
                    p
                    for p in self.layout.drives[drive].positions
                    if z3.is_true(model.eval(self.lies(drive, p), model_completion=True))
                )
                sentence = (
                    f"{route.name} can be set while {drive}, {where}, lies {other} "
                    f"and not {position}"
                )
                missing = Needs(route.name, drive, position)
                set_ = self.symbol(self.script.routes[route.name])
                routes = self._with_needed((route.name,), held)
                wrong = [
                    need.span
                    for need in self.locking.needs
                    if need.route == route.name and need.drive == drive and need.span
                ]
                instead = wrong[0] if wrong else None
                yield (
                    Hazard(name, (route.name,), routes, sentence, missing, instead),
                    z3.Implies(set_, term),
                )

    def lies(self, drive: str, position: str) -> z3.BoolRef:
        term = self.script.positions[drive, position]
        if term.startswith("(not "):
            return z3.Not(self.symbol(term[5:-1]))
        return self.symbol(term)

    def _meet(
        self, one: Route, other: Route, refuted: Sequence[PropertyName], held: set[str]
    ) -> Iterator[tuple[Hazard, z3.BoolRef]]:
        name: PropertyName
        if "track" in refuted and set(one.sections) & set(other.sections):
            name = "track"
        elif "overlaps" in refuted and (
            one.overlap_entered_by(other) or other.overlap_entered_by(one)
        ):
            name = "overlaps"
        else:
            return
        why = why_conflict(one, other, self.layout, self.table)
        sentence = f"{one.name} and {other.name} can both be set: {why}"
        missing = Locks(one.name, other.name)
        symbols = [self.symbol(self.script.routes[r.name]) for r in (one, other)]
        routes = self._with_needed((one.name, other.name), held)
        concerned = (one.name, other.name)
        yield Hazard(name, concerned, routes, sentence, missing), z3.Not(z3.And(*symbols))

    def _with_needed(self, routes: tuple[str, ...], held: set[str]) -> tuple[str, ...]:
        """Routes with those that must be set for them to be set."""
        chain = list(routes)
        for name in chain:
            chain += [
                need.other
                for need in self.locking.needs_set
                if need.route == name and need.other in held and need.other not in chain
            ]
        return tuple(chain)

    # ---------------------------------------------------------- expectations

    def expectation(self, expectation: Expectation) -> ExpectationResult:
        symbols = [self.symbol(self.script.routes[name]) for name in expectation.routes]
        answer = self.ask(*symbols)
        good = "unsat" if expectation.never else "sat"
        if answer == "unknown":
            outcome: Outcome = "undecided"
            why = "no answer within the time given"
        elif answer == good:
            outcome, why = "proved", ""
        else:
            outcome = "refuted"
            why = self._allowed(expectation) if expectation.never else self._forbidden(expectation)
        return ExpectationResult(expectation.text, outcome, why, expectation.span)

    def _allowed(self, expectation: Expectation) -> str:
        one, other = expectation.routes
        return f"the locking lets both be set; missing rule: {one} locks {other}"

    def _forbidden(self, expectation: Expectation) -> str:
        parts = []
        for index, first in enumerate(expectation.routes):
            for second in expectation.routes[index + 1 :]:
                one, other = self.table.routes[first], self.table.routes[second]
                why = why_conflict(one, other, self.layout, self.table)
                if why and self.locking.derived:
                    parts.append(f"{first} and {second} conflict: {why}")
                parts += written_rules_between(self.locking, first, second)
        if parts:
            return "; ".join(parts)
        rules = forbidding(self.layout, self.locking, expectation.routes)
        if not rules:
            return "the rules in force, taken together, do not let them be set"
        return (
            f"these rules do not let them be set together: {'; '.join(map(rule_with_place, rules))}"
        )


_OUTCOMES: dict[str, Outcome] = {"unsat": "proved", "sat": "refuted", "unknown": "undecided"}


def _solver(text: str) -> z3.Solver:
    """A solver that has read a script, with a context of its own."""
    solver = z3.SimpleSolver(ctx=z3.Context())
    solver.from_string(text)
    return solver


def _batches(some: Sequence[Obligation]) -> Iterator[list[Obligation]]:
    """Obligations in their order, cut where a batch names many routes."""
    batch: list[Obligation] = []
    routes: set[str] = set()
    for obligation in some:
        if batch and len(routes.union(obligation.routes)) > BATCH:
            yield batch
            batch, routes = [], set()
        batch.append(obligation)
        routes.update(obligation.routes)
    if batch:
        yield batch
