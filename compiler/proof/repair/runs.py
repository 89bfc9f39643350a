"""Runs that go wrong: looked for, and replayed under further rules.

What a rule does is never worked out here: the interlocking is built with it, and a run
is replayed to see whether it is still possible. Runs are looked for breadth first, up to
a bound on the states, so that each is a shortest one.
"""

from __future__ import annotations

import time
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.frame import Frame
from bellcrank.machine.interlocking import interlocking_events
from bellcrank.machine.locking import Locking
from bellcrank.machine.machine_model import (
    Clause,
    Event,
    Invariant,
    Machine,
    State,
    after,
    holds,
    possible,
)
from bellcrank.proof.moving.story import Story
from bellcrank.proof.repair.candidates import Candidate, concerns, with_rules
from bellcrank.routes.route_model import RouteTable
from bellcrank.running.reachability import Seen, breadth_first
from bellcrank.running.state_search import Explorer, PackedState

MOST_STATES = 4_000
"""States looked at with the events of a route, or of two."""

NEVER: Clause = ()
"""Without literals a clause is false."""

MOST_RUNS = 60
"""Runs of one search that are looked into."""


@dataclass(frozen=True, slots=True)
class Run:
    """Events from a start to a state in which clauses of a property are false."""

    of: str
    events: tuple[Event, ...]
    start: Mapping[str, str]

    @property
    def routes(self) -> frozenset[str]:
        """The routes that are asked for."""
        return frozenset(e.of for e in self.events if e.kind == "request")


def run_of(machine: Machine, story: Story) -> Run:
    """The run of the machine that a story tells."""
    by_name = {event.name: event for event in machine.events}
    lies = dict(story.start)
    start = {
        name: lies.get(v.of, v.initial[0]) if v.kind == "drive" else v.initial[0]
        for name, v in machine.variables.items()
    }
    return Run(story.of, tuple(by_name[step.event] for step in story.steps), start)


@dataclass(slots=True)
class Replays:
    """Replays runs under further rules.

    invariants: of the machine, which are the same whatever the rules.
    """

    layout: Layout
    table: RouteTable
    locking: Locking
    invariants: Sequence[Invariant]
    built: dict[tuple[frozenset[str], frozenset[Candidate]], dict[str, Event]] = field(
        default_factory=dict
    )

    def goes_wrong(self, run: Run, rules: Collection[Candidate]) -> bool:
        """Whether a run is possible with these rules, and goes wrong in the end."""
        return goes_wrong(run, self._events(run.routes, rules), self.invariants)

    def states(self, run: Run, rules: Collection[Candidate]) -> Iterator[tuple[Event, State]]:
        """The events of a run, each with the state after it."""
        events = self._events(run.routes, rules)
        state = dict(run.start)
        for event in run.events:
            state = after(events.get(event.name, event), state)
            yield event, state

    def _events(self, routes: frozenset[str], rules: Collection[Candidate]) -> dict[str, Event]:
        """The events of the interlocking while these routes alone are asked for, which say the
        same of these as with all the others."""
        key = (routes, frozenset(rule for rule in rules if concerns(rule, routes)))
        if key not in self.built:
            locking = with_rules(_among(self.table, routes), self.locking, key[1])
            self.built[key] = events_among(self.layout, self.table, locking, routes)
        return self.built[key]


def goes_wrong(run: Run, events: Mapping[str, Event], invariants: Iterable[Invariant]) -> bool:
    """Whether a run is possible with some events in the place of its own, by their names, and
    goes wrong in the end."""
    state = dict(run.start)
    for event in run.events:
        event = events.get(event.name, event)
        if not possible(event, state):
            return False
        state = after(event, state)
    return any(i.of == run.of and not holds(i.clause, state) for i in invariants)


def events_among(
    layout: Layout, table: RouteTable, locking: Locking, routes: frozenset[str]
) -> dict[str, Event]:
    """The events of the interlocking while some routes alone are asked for, by their names.

    One that needs another route set cannot be asked for then, unless that is among them.
    """
    few = _among(table, routes)
    events = interlocking_events(Frame(layout, few, _rules_among(locking, routes)))
    waiting = {need.route for need in locking.needs_set if need.other not in routes}
    return {
        event.name: replace(event, guard=(NEVER,))
        if event.kind == "request" and event.of in waiting
        else event
        for event in events
    }


def _among(table: RouteTable, routes: frozenset[str]) -> RouteTable:
    return RouteTable(
        {name: route for name, route in table.routes.items() if name in routes},
        {pair: why for pair, why in table.conflicts.items() if routes.issuperset(pair)},
        {name: tuple(o for o in table.conflicting[name] if o in routes) for name in routes},
    )


def _rules_among(locking: Locking, routes: frozenset[str]) -> Locking:
    return replace(
        locking,
        locks=tuple(x for x in locking.locks if x.first in routes and x.second in routes),
        needs=tuple(x for x in locking.needs if x.route in routes),
        needs_set=tuple(x for x in locking.needs_set if x.route in routes and x.other in routes),
        needs_clear=tuple(x for x in locking.needs_clear if x.route in routes),
        expectations=(),
    )


def wrong_runs(
    machine: Machine, events: Sequence[Event], most: int, deadline: float | None
) -> list[Run]:
    """For every clause that must hold and that some events make false, a shortest run.

    The search starts with all drives in their first position, or all in their last,
    looks at so many states, and goes no further once anything is wrong.
    """
    search = _WrongRuns(machine, events, most, deadline)
    first = {name: v.initial[0] for name, v in machine.variables.items()}
    last = {name: v.initial[-1] for name, v in machine.variables.items()}
    for start in (first, last):
        search.look_from(start)
    return search.found


class _WrongRuns:
    """A search in progress. false: the clauses, by number, for which there is a run."""

    def __init__(
        self, machine: Machine, events: Sequence[Event], most: int, deadline: float | None
    ) -> None:
        touched = {name for event in events for name in event.updates}
        self.stated = [
            i for i in machine.invariants if any(x.variable in touched for x in i.clause)
        ]
        self.explorer = Explorer(machine, events)
        self.most = most
        self.deadline = deadline
        self.found: list[Run] = []
        self.false: set[int] = set()

    def look_from(self, start: State) -> None:
        """Breadth first from one start, unless the time is over."""
        explorer = self.explorer
        good = explorer.test(i.clause for i in self.stated)
        begin = explorer.pack(start)

        def following(state: PackedState) -> Iterable[tuple[int, PackedState]]:
            return () if state in wrong else explorer.successors(state)

        seen: Seen[PackedState, int] = {}
        wrong: set[PackedState] = set()
        for state in breadth_first([begin], following, seen):
            if self.deadline is not None and time.monotonic() > self.deadline:
                return
            if len(seen) > self.most or len(self.found) >= MOST_RUNS:
                return
            if state != begin and not good(state):
                wrong.add(state)
                self.keep(start, seen, state)

    def keep(self, start: State, seen: Seen[PackedState, int], wrong: PackedState) -> None:
        """Keep the run to a state, for every clause that is false there for the first time."""
        values = self.explorer.unpack(wrong)
        for place, invariant in enumerate(self.stated):
            if place not in self.false and not holds(invariant.clause, values):
                self.false.add(place)
                run = Run(invariant.of, self.explorer.run_to(seen, wrong)[1], start)
                if run not in self.found:
                    self.found.append(run)


def throwing_unseen(
    layout: Layout, table: RouteTable, locking: Locking
) -> Iterator[tuple[str, str, str]]:
    """Routes that throw a drive in a section that they need not clear, each with the section
    and another route that leads over it; each such section once for a route."""
    done = {(need.route, need.section) for need in locking.needs_clear}
    for need in locking.needs:
        for element in layout.drives[need.drive].elements:
            section = layout.section_of[element]
            if (need.route, section) in done:
                continue
            done.add((need.route, section))
            over = (r.name for r in table.routes.values() if section in r.sections)
            other = next((name for name in over if name != need.route), None)
            if other is not None:
                yield need.route, section, other
