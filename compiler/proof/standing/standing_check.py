"""The standing check: is any set of routes unsafe that the locking allows?

z3 decides each property and each expectation. The obligations are decided in
batches, each with the rules among its own routes, so that work grows with the
layout; what these few rules do not settle is asked again with all rules, and
without the routes that can never be set. What is refuted is looked at until a
smallest unsafe set is known, and the rule that is missing.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cached_property

import z3

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.collecting import collected_seldom
from bellcrank.machine.locking import Expectation, Locking, written_rules_between
from bellcrank.machine.wording import rule_with_place
from bellcrank.proof.kept.kept_model import Kept, Shown, digest
from bellcrank.proof.kept.method import method
from bellcrank.proof.standing.hazards import HazardSearch
from bellcrank.proof.standing.minimal_core import forbidding
from bellcrank.proof.standing.obligations import (
    SENTENCES,
    Obligation,
    PropertyName,
    obligations,
)
from bellcrank.proof.standing.propositional import Literal
from bellcrank.proof.standing.smt_script import Script, ScriptWriter
from bellcrank.proof.standing.z3_terms import Answer, Solver
from bellcrank.proof.verdict import (
    ExpectationResult,
    Hazard,
    Outcome,
    PropertyResult,
    Verdict,
    assumptions,
)
from bellcrank.proof.z3_context import context_of_this_thread
from bellcrank.routes.route_model import RouteTable
from bellcrank.routes.sentences import why_conflict

BATCH = 64
"""Routes in one batch of obligations, unless a single obligation names more."""

Progress = Callable[[str], None]


def can_stand(
    layout: Layout, table: RouteTable, locking: Locking, routes: Sequence[str]
) -> bool | None:
    """Whether the locking lets routes be set together; None if z3 cannot tell."""
    [answer] = which_can_stand(layout, table, locking, [routes])
    return answer


def which_can_stand(
    layout: Layout, table: RouteTable, locking: Locking, asked: Iterable[Sequence[str]]
) -> Iterator[bool | None]:
    """The same for several of what is asked, one answer after the other."""
    check = _Check(layout, table, locking, None, lambda _: None)
    for routes in asked:
        answer = check.asked_for(*(check.script.routes[name] for name in routes))
        yield None if answer == "unknown" else answer == "sat"


@collected_seldom()
def check_standing(
    layout: Layout,
    table: RouteTable,
    locking: Locking,
    seconds: float | None = None,
    progress: Progress | None = None,
    kept: Kept | None = None,
) -> Verdict:
    """Decide every property and expectation of a layout without errors.

    seconds: a limit on the whole check; what is not decided by then is undecided.
    progress: told, in a few words, what is being done. kept: where it is kept which batches
    cannot be violated; None for nowhere.
    """
    check = _Check(layout, table, locking, seconds, progress or (lambda _: None), kept)
    return check.verdict()


class _Check:
    def __init__(
        self,
        layout: Layout,
        table: RouteTable,
        locking: Locking,
        seconds: float | None,
        progress: Progress,
        kept: Kept | None = None,
    ) -> None:
        self.kept = kept
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
    def solver(self) -> Solver:
        """The solver that knows all rules."""
        return Solver(self.script.formula.smt_text(), self.deadline, context_of_this_thread())

    def ask(self, *assumed: Literal) -> Answer:
        """Whether literals can be true together under all rules, as routes stand that can
        be set at all. What they needed may have been used and released since."""
        unset = self.script.unset(self.barred)
        return self.solver.ask(*map(self.solver.term, (*assumed, *unset)))

    def asked_for(self, *assumed: Literal) -> Answer:
        """Whether literals can be true together while all that routes need is set."""
        return self.solver.ask(*map(self.solver.term, (self.script.asked, *assumed)))

    # ------------------------------------------------------------- the whole

    def verdict(self) -> Verdict:
        self.progress("looking for routes that can never be set")
        settable, barred = self.settable, self.barred
        properties = tuple(self.property_results())
        hazards, complete = self.hazards([p.name for p in properties if p.outcome == "refuted"])
        complete = complete and all(p.outcome != "undecided" for p in properties)
        self.progress("deciding the expectations")
        expectations = tuple(self.expectation(e) for e in self.locking.expectations)
        version = f"z3 {z3.get_version_string()}"
        return Verdict(
            properties,
            hazards,
            complete,
            expectations,
            barred,
            "unknown" not in settable.values(),
            assumptions(self.layout),
            version,
        )

    def property_results(self) -> Iterator[PropertyResult]:
        for name, sentence in SENTENCES.items():
            self.progress(f"deciding: {sentence}")
            own = [o for o in self.obligations if o.violates == name]
            yield PropertyResult(name, sentence, self.decide(name, own), len(own))

    def decide(self, name: PropertyName, own: Sequence[Obligation]) -> Outcome:
        """Proved if no batch of a property's obligations can be violated."""
        for batch in list(_batches(own)) or [[]]:
            script = self.writer.part(batch)
            if not self.never(script, script.violations[name]):
                # The rules among these routes do not settle it; all rules may.
                return _OUTCOMES[self.ask(self.script.violations[name])]
        return "proved"

    def never(self, script: Script, violated: Literal) -> bool:
        """Whether by a script a literal cannot be true. That is kept under the words of both."""
        text = script.formula.smt_text()
        if self.kept is not None:
            key = digest(f"{method()} standing {violated.variable} {text}")
            if key in self.kept.known([key]):
                return True
        solver = Solver(text, self.deadline, context_of_this_thread())
        found = solver.ask(solver.term(violated)) == "unsat"
        if found and self.kept is not None:
            self.kept.keep([(key, Shown(1))])
        return found

    def hazards(self, refuted: Sequence[PropertyName]) -> tuple[tuple[Hazard, ...], bool]:
        """Unsafe sets, the smallest first, and whether these are all."""
        if not refuted:
            return (), True
        self.progress("looking for the smallest unsafe set")
        barred = self.barred
        solver = Solver(self.script.formula.smt_text(), self.deadline)  # of which models are read
        return HazardSearch(
            self.layout, self.table, self.locking, self.script, solver, refuted, barred
        ).hazards()

    @property
    def barred(self) -> tuple[str, ...]:
        """The routes that can never be set."""
        return tuple(name for name, answer in self.settable.items() if answer == "unsat")

    @cached_property
    def settable(self) -> dict[str, Answer]:
        """Whether routes can be set at all, of those for which it is not plain.

        Most can plainly be set alone: a state in which nothing else is set and
        its drives lie as needed breaks no rule. z3 is asked about the others.
        """
        needs: dict[str, dict[str, str]] = {name: {} for name in self.table.routes}
        torn = {need.route for need in self.locking.needs_set}
        for need in self.locking.needs:
            if needs[need.route].setdefault(need.drive, need.position) != need.position:
                torn.add(need.route)
        return {
            name: self.asked_for(self.script.routes[name])
            for name in self.table.routes
            if name in torn
        }

    # ---------------------------------------------------------- expectations

    def expectation(self, expectation: Expectation) -> ExpectationResult:
        # Never at all, or at once with all that they need.
        ask = self.ask if expectation.never else self.asked_for
        answer = ask(*(self.script.routes[name] for name in expectation.routes))
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


_OUTCOMES: dict[Answer, Outcome] = {"unsat": "proved", "sat": "refuted", "unknown": "undecided"}


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
