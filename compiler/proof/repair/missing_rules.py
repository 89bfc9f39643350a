"""What is missing in written locking: the smallest set of rules that makes all hold.

The method is that of implicit hitting sets: E. Moreno-Centeno and R. M. Karp, "The
Implicit Hitting Set Approach to Solve Combinatorial Optimization Problems" (2013), with
the provers as the oracle, so that it is counterexample-guided synthesis as well (A.
Solar-Lezama et al., "Combinatorial Sketching for Finite Programs", 2006). Every set of
routes that stands unsafely, and every run in which something goes wrong, is a
counterexample and says: one of these rules at least is missing. A smallest set of rules
that meets all that has been said so is added, and everything is proved anew; what goes
wrong then says more. A set that is proved at last is smallest, since no smaller one meets
what was said.

Two kinds of rules need care. One that has a drive thrown for a route does not only
forbid, so a run under it need not be one without it; such a run says "one of these,
or not that one". And a rule may forbid what is expected to be possible.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.locking import Locking, OnlyOne
from bellcrank.proof.moving.brief import proved_names
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.proof.repair.candidates import Addition, Candidate, candidates, wrong_needs
from bellcrank.proof.repair.grouping import grouped
from bellcrank.proof.repair.learnt import Learnt
from bellcrank.proof.repair.repair_model import Missing, Progress, Repair
from bellcrank.proof.repair.scouting import Scout
from bellcrank.proof.repair.standing_lessons import Standing
from bellcrank.proof.repair.time_left import OutOfTimeError, TimeLeft
from bellcrank.proof.repair.trials import Trials
from bellcrank.proof.verdict import MovingVerdict
from bellcrank.routes.route_model import RouteTable


def missing_rules(
    layout: Layout,
    table: RouteTable,
    locking: Locking,
    before: MovingVerdict | None = None,
    effort: Effort | None = None,
    progress: Progress | None = None,
) -> Repair:
    """The smallest set of rules that written locking lacks.

    before: the moving verdict without them, if it is known.
    effort: for each proof that is tried; its seconds are a limit on the whole.
    Raises KeyboardInterrupt if the user has had enough.
    """
    tell = progress or (lambda _: None)
    try:
        return _Mending(layout, table, locking, effort or Effort(), tell).repair(before)
    except OutOfTimeError:
        return Repair((), proved=False, smallest=False, open=(), stopped=True)


class _Mending:
    """One repair in progress.

    locking: the written rules, wrong ones replaced by what they should be.
    """

    def __init__(
        self,
        layout: Layout,
        table: RouteTable,
        locking: Locking,
        effort: Effort,
        progress: Progress,
    ) -> None:
        progress("looking for missing rules")
        self.table = table
        self.time = TimeLeft.of(effort.seconds)
        self.wrong = wrong_needs(table, locking)
        # A wrong rule and the right one beside it would bar the route for ever.
        replaced = {need for needs in self.wrong.values() for need in needs}
        kept = tuple(need for need in locking.needs if need not in replaced)
        self.locking = locking = replace(locking, needs=(*kept, *self.wrong))
        tried = candidates(layout, table, locking)
        self.learnt = learnt = Learnt({rule: place for place, rule in enumerate(tried)})
        self.trials = Trials(layout, table, locking, learnt, effort, self.time, progress)
        general = self.trials.general
        self.scout = Scout(layout, table, locking, learnt, general, self.time, progress)
        self.standing = Standing(layout, table, locking, tried, self.time.left)
        learnt.beyond |= dict.fromkeys(self.standing.denied)

    def repair(self, before: MovingVerdict | None) -> Repair:
        if before is not None:
            self.trials.before = proved_names(before)
        if before is not None and not self.wrong:
            self.scout.hear(self.trials.machine(()), before, ())
            # Further rules only forbid: what cannot happen now cannot happen then.
            self.learnt.beyond |= dict.fromkeys(
                r.name for r in before.results if r.outcome == "refuted" and r.story is None
            )
        self.learnt.learn(self.scout.over_vehicles())
        while True:
            self.time.left()
            rules = self.learnt.choose(self.standing)
            if self.learnt.learn(self.standing.lessons(rules)):
                continue
            if self.learnt.learn(self.standing.forbidden(rules)):
                continue
            if self.scout.scout(self.trials.machine(rules), rules):
                continue
            repair = self.settle(rules)
            if repair is not None:
                return repair

    def settle(self, rules: tuple[Candidate, ...]) -> Repair | None:
        """Prove that a set of rules is enough, or else learn from it and return None."""
        general = self.trials.general(rules)
        for trial in dict.fromkeys((grouped(self.table, self.locking, general), general, rules)):
            machine = self.trials.machine(trial)
            moving = self.trials.prove(machine)
            if self.scout.hear(machine, moving, self.trials.every.single(trial)):
                return None
            if self.trials.good(moving):
                return self.found(trial, moving)
        more = self.trials.provable(rules)
        if more != rules:
            moving = self.trials.prove(self.trials.machine(more))
        return self.found(more, moving, smallest=more == rules)

    def found(
        self, rules: Sequence[Addition], moving: MovingVerdict, *, smallest: bool = True
    ) -> Repair:
        found = [Missing(rule, tuple(wrong)) for rule, wrong in self.wrong.items()]
        written = {group.span: group for group in self.locking.groups}
        for rule in rules:
            grown = isinstance(rule, OnlyOne) and rule.span in written
            found.append(Missing(rule, (written[rule.span],) if grown else ()))
        still = (*self.standing.open(), *self.trials.open(moving))
        return Repair(tuple(found), self.trials.good(moving), smallest, still)
