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

import time
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.build_machine import build_machine
from bellcrank.machine.locking import Locking, Needs, NeedsClear, OnlyOne
from bellcrank.machine.machine_model import Machine
from bellcrank.machine.parts import find_parts
from bellcrank.machine.wording import Every
from bellcrank.proof.moving.brief import Brief, InductionAlone, proved_names
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.proof.moving.story import left_alone, restricted, track_near
from bellcrank.proof.repair.candidates import (
    Addition,
    Candidate,
    candidates,
    concerns,
    with_rules,
    wrong_needs,
)
from bellcrank.proof.repair.generalising import Generalising
from bellcrank.proof.repair.grouping import grouped
from bellcrank.proof.repair.hitting_set import Lesson, minimum_hitting_set, sure_rules
from bellcrank.proof.repair.runs import Replays, Run, run_of, wrong_runs
from bellcrank.proof.repair.standing_lessons import OutOfTimeError, Standing
from bellcrank.proof.verdict import MovingVerdict
from bellcrank.routes.route_model import RouteTable

MOST_STATES = 4_000
"""States looked at, for each route, before a proof is tried."""

SECTIONS_CLEAR = Every("sections clear")

DRIVES_CLEAR = Every("section clear")

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Missing:
    """A rule that is missing. instead_of: written ones that it replaces, which are wrong,
    or a group that lacks some of its routes."""

    rule: Addition
    instead_of: tuple[Needs | OnlyOne, ...] = ()

    @property
    def lacking(self) -> tuple[str, ...]:
        """The routes that a written group lacks."""
        if not isinstance(self.rule, OnlyOne):
            return ()
        had = {
            name for group in self.instead_of if isinstance(group, OnlyOne) for name in group.routes
        }
        return tuple(name for name in self.rule.routes if name not in had)


Why = Literal[
    "no rule would help",
    "not together with the rest",
    "undecided with these rules",
    "undecided, whatever rules are added",
]


@dataclass(frozen=True, slots=True)
class Unmended:
    """A property or an expectation that does not hold even with the missing rules.

    name: what the results of the proofs call it. sentence: what they say of it.
    """

    name: str
    sentence: str
    why: Why

    @property
    def text(self) -> str:
        return f"{self.sentence}: {self.why}"


@dataclass(frozen=True, slots=True)
class Repair:
    """The rules that make everything hold that rules can mend.

    rules: in the order of the route table; none if none is missing or none helps.
    proved: whether with them all that rules can mend is proved.
    smallest: whether fewer are known not to do.
    open: what does not hold even so.
    stopped: whether it was cut short before the rules were known.
    """

    rules: tuple[Missing, ...]
    proved: bool
    smallest: bool
    open: tuple[Unmended, ...]
    stopped: bool = False

    @property
    def mends(self) -> bool:
        """Whether there are rules to add that are known to help."""
        return self.proved and bool(self.rules)


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
    mending = _Mending(layout, table, locking, effort or Effort(), progress or (lambda _: None))
    try:
        return mending.repair(before)
    except OutOfTimeError:
        return Repair((), proved=False, smallest=False, open=(), stopped=True)


class _Mending:
    """One repair in progress.

    locking: the written rules, wrong ones replaced by what they should be.
    beyond: properties and expectations that no further rule can mend.
    before: those that are known to hold with no rule added.
    quiet: the rules of each route with which the look at it found nothing.
    thrown: routes and sections in which a drive was looked for that is thrown there.
    """

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
        self.effort = effort
        self.progress = progress
        self.deadline = None if effort.seconds is None else time.monotonic() + effort.seconds
        self.wrong = wrong_needs(table, locking)
        # A wrong rule and the right one beside it would bar the route for ever.
        replaced = {need for needs in self.wrong.values() for need in needs}
        kept = tuple(need for need in locking.needs if need not in replaced)
        self.locking = replace(locking, needs=(*kept, *self.wrong))
        self.candidates = candidates(layout, table, self.locking)
        self.order = {rule: place for place, rule in enumerate(self.candidates)}
        self.every = Generalising(table, self.order)
        self.lessons: dict[Lesson, None] = {}
        self.beyond: dict[str, None] = {}
        self.before: frozenset[str] = frozenset()
        self.quiet: dict[str, frozenset[Candidate]] = {}
        self.thrown: set[tuple[str, str]] = set()
        self.parts = find_parts(layout).in_section

    def left(self) -> float | None:
        """Seconds that are left. Raises OutOfTimeError if there are none."""
        if self.deadline is None:
            return None
        seconds = self.deadline - time.monotonic()
        if seconds <= 0:
            raise OutOfTimeError
        return seconds

    # ------------------------------------------------------------- the rounds

    def repair(self, before: MovingVerdict | None) -> Repair:
        self.progress("looking for missing rules")
        machine = build_machine(self.layout, self.table, self.locking)
        self.replays = Replays(self.layout, self.table, self.locking, machine.invariants)
        self.variable_of = machine.variable_of
        self.near = track_near(machine)
        self.standing = Standing(self.layout, self.table, self.locking, self.candidates, self.left)
        self.beyond |= dict.fromkeys(self.standing.denied)
        if before is not None:
            self.before = proved_names(before)
        if before is not None and not self.wrong:
            self.hear(machine, before, ())
            # Further rules only forbid: what cannot happen now cannot happen then.
            self.beyond |= dict.fromkeys(
                r.name for r in before.results if r.outcome == "refuted" and r.story is None
            )
        while True:
            rules = self.choose()
            if self.learn(self.standing.lessons(rules)):
                continue
            if self.learn(self.standing.forbidden(rules)):
                continue
            if self.scout(self.machine(rules), rules):
                continue
            repair = self.settle(rules)
            if repair is not None:
                return repair

    def settle(self, rules: tuple[Candidate, ...]) -> Repair | None:
        """Prove that a set of rules is enough, or else learn from it and return None."""
        general = self.general(rules)
        for trial in dict.fromkeys((grouped(self.table, self.locking, general), general, rules)):
            machine = self.machine(trial)
            moving = self.prove(machine)
            if self.hear(machine, moving, self.every.single(trial)):
                return None
            if self.good(moving):
                return self.found(trial, moving)
        more = self.provable(rules)
        if more != rules:
            moving = self.prove(self.machine(more))
        return self.found(more, moving, smallest=more == rules)

    def found(
        self, rules: Sequence[Addition], moving: MovingVerdict, *, smallest: bool = True
    ) -> Repair:
        found = [Missing(rule, tuple(wrong)) for rule, wrong in self.wrong.items()]
        written = {group.span: group for group in self.locking.groups}
        for rule in rules:
            grown = isinstance(rule, OnlyOne) and rule.span in written
            found.append(Missing(rule, (written[rule.span],) if grown else ()))
        return Repair(tuple(found), self.good(moving), smallest, tuple(self.open(moving)))

    def machine(self, rules: Iterable[Addition]) -> Machine:
        return build_machine(self.layout, self.table, with_rules(self.table, self.locking, rules))

    def choose(self) -> tuple[Candidate, ...]:
        """A smallest set of rules that meets all lessons."""
        self.left()
        chosen = minimum_hitting_set(self.lessons, self.order)
        if chosen is None:
            # Not all that is expected to be possible is so when all is safe.
            self.lessons = {lesson: None for lesson in self.lessons if lesson.add}
            self.standing.wishes = []
            chosen = minimum_hitting_set(self.lessons, self.order)
        assert chosen is not None
        return tuple(sorted(chosen, key=self.order.__getitem__))

    def learn(self, lessons: Iterable[Lesson]) -> bool:
        """Keep lessons; whether any of them is new."""
        before = len(self.lessons)
        self.lessons |= dict.fromkeys(lessons)
        return len(self.lessons) > before

    # ------------------------------------------------------------------- runs

    def scout(self, machine: Machine, rules: Sequence[Candidate]) -> bool:
        """Look, with the events of few routes at a time, for what goes wrong; whether
        there was anything to learn."""
        new = False
        for number, route in enumerate(self.table.routes, start=1):
            own = frozenset(rule for rule in rules if concerns(rule, {route}))
            lacking = [c for c in self.candidates if concerns(c, {route}) and c not in own]
            if not lacking or self.quiet.get(route) == own:
                continue
            self.progress(f"looking for missing rules: route {number} of {len(self.table.routes)}")
            sections = [c.section for c in lacking if isinstance(c, NeedsClear)]
            if self.look_with(machine, rules, {route}, sections):
                new = True
            else:
                self.quiet[route] = own
        if not new and DRIVES_CLEAR in self.order and DRIVES_CLEAR not in rules:
            self.progress("looking for a drive that is thrown under a train")
            new = any(self.look_with(machine, rules, pair, ()) for pair in self.throwing(rules))
        return new

    def look_with(
        self,
        machine: Machine,
        rules: Collection[Candidate],
        routes: Collection[str],
        sections: Iterable[str],
    ) -> bool:
        """Look with the events of some routes, and trains there and in some sections."""
        self.left()
        parts = {part for section in sections for part in self.parts[section]}
        beside = parts.union(*(self.near.get(route, frozenset()) for route in routes))
        alone = left_alone(machine.events)
        events = restricted(machine, alone, frozenset(routes), frozenset(beside))
        runs = wrong_runs(machine, events, MOST_STATES, self.deadline)
        return self.learn(self.said_by(runs, rules))

    def throwing(self, rules: Iterable[Candidate]) -> Iterator[tuple[str, str]]:
        """Routes that throw a drive whose section they do not need clear, each with
        another that leads over it; each such section once."""
        locking = with_rules(self.table, self.locking, self.general(tuple(rules)))
        clear = {(need.route, need.section) for need in locking.needs_clear}
        for need in locking.needs:
            for element in self.layout.drives[need.drive].elements:
                section = self.layout.section_of[element]
                if (need.route, section) in clear:
                    continue
                over = [r.name for r in self.table.routes.values() if section in r.sections]
                other = next((name for name in over if name != need.route), None)
                if other is not None and (need.route, section) not in self.thrown:
                    self.thrown.add((need.route, section))
                    yield need.route, other

    def hear(self, machine: Machine, moving: MovingVerdict, rules: Collection[Candidate]) -> bool:
        """Learn from the stories of a proof; whether there was anything to learn."""
        stories = [r.story for r in moving.results if r.story is not None]
        return self.learn(self.said_by([run_of(machine, s) for s in stories], rules))

    def said_by(self, runs: Iterable[Run], rules: Collection[Candidate]) -> list[Lesson]:
        """What runs under some rules say of others. A run that a rule would stop which
        is missing for sure says nothing more."""
        found: list[Lesson] = []
        known = set(rules)
        for run in runs:
            if run.of in self.beyond or not self.replays.goes_wrong(run, known):
                continue
            lesson = self.said_by_run(run, rules)
            if not lesson.add and not lesson.leave:
                self.beyond[run.of] = None
                continue
            found.append(lesson)
            if lesson.sure and not any(isinstance(rule, Needs) for rule in lesson.add):
                known |= lesson.add
        return found

    def said_by_run(self, run: Run, rules: Collection[Candidate]) -> Lesson:
        self.left()
        add: set[Candidate] = set()
        leave: set[Candidate] = set()
        for rule in self.candidates:
            if not concerns(rule, run.routes):
                continue
            if isinstance(rule, Needs):
                if self.may_matter(run, rule, rules):
                    (leave if rule in rules else add).add(rule)
            elif rule not in rules and not self.replays.goes_wrong(run, {*rules, rule}):
                add.add(rule)
        return Lesson(frozenset(add), frozenset(leave) - sure_rules(self.lessons))

    def may_matter(self, run: Run, need: Needs, rules: Collection[Candidate]) -> bool:
        """Whether a rule on a drive could change a run: the drive does not lie as the
        rule says all the time from the request on."""
        asked = False
        for event, state in self.replays.states(run, rules):
            asked = asked or (event.kind == "request" and event.of == need.route)
            if asked and state[self.variable_of["drive", need.drive].name] != need.position:
                return True
        return False

    # ------------------------------------------------------------------ proof

    def prove(self, machine: Machine, how: type[Brief] = Brief) -> MovingVerdict:
        effort = replace(self.effort, seconds=self.left())
        moving = how(machine, effort, self.progress).verdict()
        if moving.interrupted:
            raise KeyboardInterrupt
        if moving.stopped:
            raise OutOfTimeError
        return moving

    @cached_property
    def at_best(self) -> frozenset[str]:
        """What is proved with every rule that might be missing."""
        return proved_names(self.prove(self.machine(self.candidates)))

    def good(self, moving: MovingVerdict) -> bool:
        """Whether all is proved that rules can mend."""
        # What is expected to be possible, and is not, no further rule can mend.
        rest = {r.name: r for r in moving.results if r.outcome != "refuted" or r.story}
        left = rest.keys() - proved_names(moving) - self.beyond.keys()
        return not any(rest[name].story or name in self.at_best for name in left)

    def open(self, moving: MovingVerdict) -> Iterator[Unmended]:
        """What does not hold."""
        for name, sentence in self.standing.beyond.items():
            yield Unmended(name, sentence, "no rule would help")
        for result in moving.results:
            if result.name in proved_names(moving):
                continue
            why: Why = "undecided, whatever rules are added"
            if result.name in self.beyond:
                why = "no rule would help"
            elif result.outcome == "refuted":
                why = "not together with the rest"
            elif result.name in self.before or result.name in self.at_best:
                why = "undecided with these rules"
            yield Unmended(result.name, result.sentence, why)

    def general(self, rules: tuple[Candidate, ...]) -> tuple[Candidate, ...]:
        """The rules, with one for every route in the place of many for single ones."""
        return self.beside(self.every.worth_it(rules)) or rules

    def beside(self, general: Sequence[Every]) -> tuple[Candidate, ...]:
        """Some general rules, with as few others as meet what these do not."""
        return self.every.beside(general, self.lessons)

    def provable(self, rules: tuple[Candidate, ...]) -> tuple[Candidate, ...]:
        """The rules, and more, with which induction shows what it shows with all
        candidates; the rules alone if there is nothing to gain."""
        wanted = self.at_best

        def enough(trial: Iterable[Candidate]) -> bool:
            return wanted <= proved_names(self.prove(self.machine(trial), InductionAlone))

        if not enough(self.candidates):
            return rules
        common = self.every.worth_it(rules)
        for further in ((SECTIONS_CLEAR,), (DRIVES_CLEAR,), (SECTIONS_CLEAR, DRIVES_CLEAR)):
            trial = self.beside(list(dict.fromkeys((*common, *further))))
            if trial and enough(trial):
                return trial
        more = _reduced(self.candidates, rules, enough)
        general = self.every.worth_it(more)
        trial = (*general, *(rule for rule in more if rule not in self.every.single(general)))
        return trial if enough(trial) else tuple(more)


def _reduced(
    rules: Sequence[Candidate],
    kept: Collection[Candidate],
    enough: Callable[[Sequence[Candidate]], bool],
) -> list[Candidate]:
    """Of rules that are enough some that are as well: stretches of them are left out,
    ever shorter ones, except for those to be kept.

    Delta debugging by complements: A. Zeller and R. Hildebrandt, "Simplifying and
    Isolating Failure-Inducing Input" (2002).
    """
    more = list(rules)
    size = len(more)
    while size := size // 2:
        for start in range(len(more) - size, -1, -size):
            fewer = [r for i, r in enumerate(more) if r in kept or not 0 <= i - start < size]
            if len(fewer) < len(more) and enough(fewer):
                more = fewer
    return more
