"""Runs that go wrong with the rules of a round: looked for, and what each says of others.

Runs are looked for with the events of one route, or of two, which are few states, before
anything is proved; so most of what is missing is known by then.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.build_machine import build_machine
from bellcrank.machine.locking import Locking, Needs, NeedsClear
from bellcrank.machine.machine_model import Machine
from bellcrank.machine.parts import find_parts
from bellcrank.machine.wording import Every
from bellcrank.proof.moving.story import restricted, track_near
from bellcrank.proof.repair.candidates import Candidate, concerns, with_rules
from bellcrank.proof.repair.hitting_set import Lesson, sure_rules
from bellcrank.proof.repair.learnt import Learnt
from bellcrank.proof.repair.over_vehicles import OverVehicles
from bellcrank.proof.repair.repair_model import Progress
from bellcrank.proof.repair.runs import (
    MOST_STATES,
    Replays,
    Run,
    run_of,
    throwing_unseen,
    wrong_runs,
)
from bellcrank.proof.repair.time_left import TimeLeft
from bellcrank.proof.verdict import MovingVerdict
from bellcrank.routes.route_model import RouteTable

DRIVES_CLEAR = Every("section clear")

General = Callable[[tuple[Candidate, ...]], tuple[Candidate, ...]]


class Scout:
    """quiet: the rules of each route with which the look at it found nothing.
    thrown: routes and sections in which a drive was looked for that is thrown there.
    general: rules with one for every route in the place of many.
    """

    def __init__(
        self,
        layout: Layout,
        table: RouteTable,
        locking: Locking,
        learnt: Learnt,
        general: General,
        time: TimeLeft,
        progress: Progress,
    ) -> None:
        self.layout = layout
        self.table = table
        self.locking = locking
        self.learnt = learnt
        self.general = general
        self.time = time
        self.progress = progress
        self.candidates = tuple(learnt.order)
        self.quiet: dict[str, frozenset[Candidate]] = {}
        self.thrown: set[tuple[str, str]] = set()
        self.parts = find_parts(layout).in_section
        machine = build_machine(layout, table, locking)
        self.replays = Replays(layout, table, locking, machine.invariants)
        self.variable_of = machine.variable_of
        self.near = track_near(machine)
        self.over = OverVehicles(machine, table, self.parts)

    def over_vehicles(self) -> Iterator[Lesson]:
        """That a route lacks that a section is clear: if nothing else that may be missing keeps
        it from being set over vehicles there."""
        waiting = {need.route for need in self.locking.needs_set}
        lacking: dict[str, list[NeedsClear]] = {}
        for rule in self.candidates:
            if isinstance(rule, NeedsClear) and rule.route not in waiting:
                lacking.setdefault(rule.route, []).append(rule)
        for route, rules in lacking.items():
            self.time.left()
            others = {c for c in self.candidates if concerns(c, {route})}.difference(rules)
            for rule in rules:
                if self.replays.goes_wrong(self.over.run(route, rule.section), others):
                    yield Lesson(frozenset((rule,)))

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
        if not new and DRIVES_CLEAR in self.learnt.order and DRIVES_CLEAR not in rules:
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
        self.time.left()
        beside = {part for section in sections for part in self.parts[section]}
        events = restricted(machine, routes, self.near, beside)
        runs = wrong_runs(machine, events, MOST_STATES, self.time.deadline)
        return self.learnt.learn(self.said_by(runs, rules))

    def throwing(self, rules: Iterable[Candidate]) -> Iterator[tuple[str, str]]:
        """Routes that throw a drive whose section they do not need clear, each with
        another that leads over it; each such section once in all rounds."""
        locking = with_rules(self.table, self.locking, self.general(tuple(rules)))
        for route, section, other in throwing_unseen(self.layout, self.table, locking):
            if (route, section) not in self.thrown:
                self.thrown.add((route, section))
                yield route, other

    def hear(self, machine: Machine, moving: MovingVerdict, rules: Collection[Candidate]) -> bool:
        """Learn from the stories of a proof; whether there was anything to learn."""
        stories = [r.story for r in moving.results if r.story is not None]
        return self.learnt.learn(self.said_by([run_of(machine, s) for s in stories], rules))

    def said_by(self, runs: Iterable[Run], rules: Collection[Candidate]) -> list[Lesson]:
        """What runs under some rules say of others. A run that a rule would stop which
        is missing for sure says nothing more."""
        found: list[Lesson] = []
        known = set(rules)
        for run in runs:
            if run.of in self.learnt.beyond or not self.replays.goes_wrong(run, known):
                continue
            lesson = self.said_by_run(run, rules)
            if not lesson.add and not lesson.leave:
                self.learnt.beyond[run.of] = None
                continue
            found.append(lesson)
            if lesson.sure and not any(isinstance(rule, Needs) for rule in lesson.add):
                known |= lesson.add
        return found

    def said_by_run(self, run: Run, rules: Collection[Candidate]) -> Lesson:
        self.time.left()
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
        return Lesson(frozenset(add), frozenset(leave) - sure_rules(self.learnt.lessons))

    def may_matter(self, run: Run, need: Needs, rules: Collection[Candidate]) -> bool:
        """Whether a rule on a drive could change a run: the drive does not lie as the
        rule says all the time from the request on."""
        asked = False
        for event, state in self.replays.states(run, rules):
            asked = asked or (event.kind == "request" and event.of == need.route)
            if asked and state[self.variable_of["drive", need.drive].name] != need.position:
                return True
        return False
