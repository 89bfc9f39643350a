"""Written rules that could be left out, all together, and everything would still hold.

What protects from each danger is known beforehand for routes as they stand
(`protections.py`) and for a route that is set over vehicles; for trains as they move it is
learnt from runs that go wrong without some rules (`runs_without.py`). The rules are gone
through, those about few routes first and of alike ones the last of the text, and each is left
out as long as every known danger keeps a protection. Then everything is proved without them;
a story that comes of it is another danger. So it is the implicit hitting set method of
`missing_rules.py` turned round, with a greedy choice: as rules only forbid, a rule that was
wanted once is wanted beside fewer too, and what stays is minimal. It need not be the smallest
set that would do.

Where a proof ends without an answer, the rules are halved and each half is tried, as in
QuickXplain (U. Junker, 2004).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.locking import Locking
from bellcrank.machine.wording import Every, Rule
from bellcrank.proof.moving.brief import Brief
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.proof.repair.protections import standing_cover
from bellcrank.proof.repair.repair_model import Progress
from bellcrank.proof.repair.rule_units import Unit, as_told, in_order_of_trial, units_of, without
from bellcrank.proof.repair.runs import Run, run_of
from bellcrank.proof.repair.runs_without import RunsWithout
from bellcrank.proof.repair.time_left import OutOfTimeError, TimeLeft
from bellcrank.proof.standing.standing_check import check_standing
from bellcrank.proof.verdict import Conclusion
from bellcrank.routes.route_model import RouteTable
from bellcrank.syntax.load import Program


@dataclass(frozen=True, slots=True)
class Spare:
    """Rules without which everything is proved as it is with them.

    rules: in the order of the text.
    complete: whether every other rule is known to be wanted beside the rest; if not,
        some were kept because no proof was found without them, or time ran out.
    """

    rules: tuple[Rule, ...]
    complete: bool


def spare_rules(
    program: Program,
    layout: Layout,
    table: RouteTable,
    locking: Locking,
    effort: Effort | None = None,
    progress: Progress | None = None,
) -> Spare:
    """Written rules that can be left out of a locking that is proved."""
    units = units_of(program, locking)
    if not units:
        return Spare((), complete=True)
    search = _Search(
        layout, table, locking, units, effort or Effort(), progress or (lambda _: None)
    )
    return search.run()


class _Search:
    """One search in progress.

    kept: units that are wanted, or of which it is not known. unsure: some of the latter.
    gone: units without which nothing is known to go wrong. proved: those without which
        everything is proved.
    quiet: of routes the units without which nothing was found to go wrong.
    """

    def __init__(
        self,
        layout: Layout,
        table: RouteTable,
        locking: Locking,
        units: Sequence[Unit],
        effort: Effort,
        progress: Progress,
    ) -> None:
        self.layout = layout
        self.table = table
        self.locking = locking
        self.units = units
        self.effort = effort
        self.progress = progress
        self.time = TimeLeft.of(effort.seconds)
        self.order = in_order_of_trial(units)
        self.runs = RunsWithout(layout, table, locking, units, self.time.deadline)
        self.kept: set[int] = set()
        self.unsure: set[int] = set()
        self.gone: list[int] = []
        self.proved: list[int] = []
        self.quiet: dict[frozenset[str], frozenset[int]] = {}

    def run(self) -> Spare:
        try:
            self.search()
            complete = not self.unsure
        except OutOfTimeError:
            complete = False
        return Spare(as_told([self.units[n] for n in sorted(self.proved)]), complete)

    def search(self) -> None:
        self.progress("looking for rules that could be left out")
        never_set = check_standing(
            self.layout, self.table, self.locking, self.time.left()
        ).never_set
        self.cover = standing_cover(self.table, self.locking, self.units, never_set)
        for protections in self.runs.over_vehicles():
            self.time.left()
            self.cover.add(protections)
        self.gone = self.cover.can_go(self.order, self.kept)
        while True:
            self.time.left()
            if self.scout():
                continue
            stories, outcome = self.without(self.gone)
            if outcome == "proved":
                self.proved = self.gone
                return
            if self.learn(stories) or self.scout_pairs():
                continue
            self.halve(self.gone)
            return

    # ------------------------------------------------------------------- runs

    def scout(self) -> bool:
        """Look, with the events of each route, for what goes wrong without its rules; whether
        anything does."""
        new = self.look(self.runs.routes(self.gone))
        every = [n for n in self.gone if self.units[n].rule == Every("section clear")]
        if every:
            pairs = dict.fromkeys(self.runs.throwing(self.gone), frozenset(every))
            new = self.look(pairs) or new
        return new

    def scout_pairs(self) -> bool:
        """The same with each two routes between which locks are gone."""
        return self.look(self.runs.pairs(self.gone))

    def look(self, among: Mapping[frozenset[str], frozenset[int]]) -> bool:
        """Look with the events of some routes, each time without some units, unless these are
        known to be wanted by then; whether anything goes wrong."""
        machine = self.runs.machine(self.gone)
        before = len(self.cover.dangers)
        for number, (routes, some) in enumerate(among.items(), start=1):
            units = some.intersection(self.gone)
            if not units or self.quiet.get(routes) == units:
                continue
            self.time.left()
            self.progress(f"looking for what goes wrong: {number} of {len(among)}")
            if not self.learn(self.runs.look(machine, routes)):
                self.quiet[routes] = units
            elif any(isinstance(self.units[n].rule, Every) for n in units.difference(self.gone)):
                machine = self.runs.machine(self.gone)
        return len(self.cover.dangers) > before

    def learn(self, runs: Iterable[Run]) -> bool:
        """Keep the dangers of runs that go wrong without the units that are gone; whether there
        are any."""
        before = len(self.cover.dangers)
        out = self.gone
        for run in runs:
            if self.runs.wrong(run, out):
                protections = self.runs.protections(run, out)
                if not any(protection.isdisjoint(self.gone) for protection in protections):
                    self.cover.add(protections)
                    self.gone = self.cover.can_go(self.order, self.kept)
        return len(self.cover.dangers) > before

    # ------------------------------------------------------------------ proof

    def without(self, gone: Collection[int]) -> tuple[list[Run], Conclusion]:
        """What is known of the locking without some units, with the runs that go wrong."""
        self.time.left()
        if not gone:
            return [], "proved"
        self.progress(f"trying without {len(gone)} of {len(self.units)} rules")
        locking = without(self.locking, [self.units[n] for n in gone])
        standing = check_standing(self.layout, self.table, locking, self.time.left())
        if standing.outcome != "proved":
            return [], standing.outcome
        machine = self.runs.machine(gone)
        moving = Brief(
            machine, replace(self.effort, seconds=self.time.left()), self.progress
        ).verdict()
        if moving.interrupted:
            raise KeyboardInterrupt
        if moving.stopped:
            raise OutOfTimeError
        stories = [r.story for r in moving.results if r.story is not None]
        return [run_of(machine, story) for story in stories], moving.outcome

    def halve(self, some: Sequence[int]) -> None:
        """Leave out as many of some units as everything is proved without, beside those that
        are left out; the others are kept."""
        _, outcome = self.without([*self.proved, *some])
        if outcome == "proved":
            self.proved += some
        elif len(some) == 1:
            self.kept.update(some)
            if outcome == "undecided":
                self.unsure.update(some)
        else:
            half = len(some) // 2
            self.halve(some[:half])
            self.halve(some[half:])
