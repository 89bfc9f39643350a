"""Rules that written locking may lack, and the runs that one of them would stop.

Candidates are the rules of derived locking that are not written. What a candidate
does is never worked out here: the interlocking is built with it, and a run is
replayed to see whether it is still possible.
"""

from __future__ import annotations

import time
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.frame import Frame
from bellcrank.machine.interlocking import interlocking_events
from bellcrank.machine.locking import Locking, Locks, Needs, NeedsClear
from bellcrank.machine.machine_model import Event, Invariant, Machine, after, holds, possible
from bellcrank.machine.rules import build_locking
from bellcrank.machine.wording import Every, Rule
from bellcrank.proof.moving.story import Story
from bellcrank.routes.route_model import RouteTable
from bellcrank.running.reachability import Seen, breadth_first
from bellcrank.running.state_search import Explorer, PackedState
from bellcrank.syntax.load import Program

Candidate = Locks | Needs | NeedsClear | Every

MOST_RUNS = 60
"""Runs of one search that are looked into."""


def derived_locking(layout: Layout, table: RouteTable) -> Locking:
    """The locking of a layout as it would be had none been written."""
    return build_locking(Program((), {}), layout, table)[0]


def candidates(layout: Layout, table: RouteTable, locking: Locking) -> tuple[Candidate, ...]:
    """All rules that might be missing, in the order in which they are preferred."""
    derived = derived_locking(layout, table)
    apart = {frozenset((lock.first, lock.second)) for lock in locking.locks if not lock.when}
    pairs = {frozenset((lock.first, lock.second)): lock for lock in derived.locks}
    for expectation in locking.expectations:
        if expectation.never:
            one, other = expectation.routes
            pairs.setdefault(frozenset(expectation.routes), Locks(one, other))
    found: list[Candidate] = [lock for pair, lock in pairs.items() if pair not in apart]
    needs, clear = set(locking.needs), set(locking.needs_clear)
    found += [need for need in derived.needs if need not in needs]
    found += [need for need in derived.needs_clear if need not in clear]
    if not locking.drives_need_clear:
        found.append(Every("section clear"))
    return tuple(found)


def wrong_needs(table: RouteTable, locking: Locking) -> dict[Needs, list[Needs]]:
    """Written rules that have a drive lie wrong for a route, by the rule it should be."""
    found: dict[Needs, list[Needs]] = {}
    for need in locking.needs:
        position = table.routes[need.route].demands.get(need.drive, need.position)
        if position != need.position:
            found.setdefault(Needs(need.route, need.drive, position), []).append(need)
    return found


def with_rules(table: RouteTable, locking: Locking, rules: Iterable[Rule]) -> Locking:
    """A locking with more rules."""
    locks, needs, clear = list(locking.locks), list(locking.needs), list(locking.needs_clear)
    drives_need_clear = locking.drives_need_clear
    for rule in rules:
        match rule:
            case Locks():
                locks.append(rule)
            case Needs():
                needs.append(rule)
            case NeedsClear():
                clear.append(rule)
            case Every("section clear"):
                drives_need_clear = True
            case Every():
                needs += [n for n in meant_by(rule, table) if isinstance(n, Needs)]
                clear += [n for n in meant_by(rule, table) if isinstance(n, NeedsClear)]
    return replace(
        locking,
        locks=tuple(locks),
        needs=tuple(needs),
        needs_clear=tuple(clear),
        drives_need_clear=drives_need_clear,
    )


def meant_by(rule: Every, table: RouteTable) -> list[Needs | NeedsClear]:
    """The rules for single routes that one for every route stands for."""
    found: list[Needs | NeedsClear] = []
    for route in table.routes.values():
        if rule.needs == "positions":
            found += [Needs(route.name, d, p) for d, p in route.demands.items()]
        elif rule.needs == "sections clear":
            found += [NeedsClear(route.name, section) for section in route.sections_clear]
    return found


def concerns(rule: Candidate, routes: Collection[str]) -> bool:
    """Whether a rule can make a difference while only these routes are asked for."""
    match rule:
        case Locks():
            return rule.first in routes and rule.second in routes
        case Needs() | NeedsClear():
            return rule.route in routes
        case Every():
            return bool(routes)


# ------------------------------------------------------------------------ runs


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
        events = self._events(run.routes, rules)
        state = dict(run.start)
        for event in run.events:
            event = events.get(event.name, event)
            if not possible(event, state):
                return False
            state = after(event, state)
        return any(i.of == run.of and not holds(i.clause, state) for i in self.invariants)

    def states(self, run: Run, rules: Collection[Candidate]) -> Iterator[tuple[Event, State]]:
        """The events of a run, each with the state after it."""
        events = self._events(run.routes, rules)
        state = dict(run.start)
        for event in run.events:
            state = after(events.get(event.name, event), state)
            yield event, state

    def _events(self, routes: frozenset[str], rules: Collection[Candidate]) -> dict[str, Event]:
        """The events of the interlocking with these routes alone, which are the same as
        with all the others while these are not asked for."""
        key = (routes, frozenset(rule for rule in rules if concerns(rule, routes)))
        if key not in self.built:
            table = _among(self.table, routes)
            locking = with_rules(table, _rules_among(self.locking, routes), key[1])
            events = interlocking_events(Frame(self.layout, table, locking))
            self.built[key] = {event.name: event for event in events}
        return self.built[key]


State = Mapping[str, str]


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
    touched = {name for event in events for name in event.updates}
    stated = [i for i in machine.invariants if any(x.variable in touched for x in i.clause)]
    explorer = Explorer(machine, events)
    good = explorer.test(i.clause for i in stated)
    first = {name: v.initial[0] for name, v in machine.variables.items()}
    last = {name: v.initial[-1] for name, v in machine.variables.items()}
    found: list[Run] = []
    false: set[int] = set()

    def following(state: PackedState) -> Iterable[tuple[int, PackedState]]:
        return explorer.successors(state) if state == begin or good(state) else ()

    for start in (first, last):
        seen: Seen[PackedState, int] = {}
        begin = explorer.pack(start)
        for state in breadth_first([begin], following, seen):
            if deadline is not None and time.monotonic() > deadline:
                return found
            if len(seen) > most or len(found) >= MOST_RUNS:
                break
            if state == begin or good(state):
                continue
            values = explorer.unpack(state)
            for place, invariant in enumerate(stated):
                if place not in false and not holds(invariant.clause, values):
                    false.add(place)
                    run = Run(invariant.of, explorer.run_to(seen, state)[1], start)
                    if run not in found:
                        found.append(run)
    return found
