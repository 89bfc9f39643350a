"""Runs that go wrong without some rules: looked for, and what would keep from them.

The dangers of trains as they move that are found are told as those of routes as they stand
(`protections.py`): by the rules of which each by itself would keep from the run.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from functools import cached_property

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.build_machine import build_machine
from bellcrank.machine.frame import CLEAR
from bellcrank.machine.locking import Locking, Locks, Needs, NeedsClear, NeedsSet
from bellcrank.machine.machine_model import Event, Machine, after
from bellcrank.machine.parts import find_parts
from bellcrank.machine.wording import Every
from bellcrank.proof.moving.story import restricted, track_near
from bellcrank.proof.repair.over_vehicles import OverVehicles
from bellcrank.proof.repair.protections import Protection
from bellcrank.proof.repair.rule_units import SingleRule, Unit, among_without, single_rules, without
from bellcrank.proof.repair.runs import (
    MOST_STATES,
    Run,
    events_among,
    goes_wrong,
    throwing_unseen,
    wrong_runs,
)
from bellcrank.routes.route_model import RouteTable


class RunsWithout:
    """units: those that may be left out, of which a few at a time are, by their numbers."""

    def __init__(
        self,
        layout: Layout,
        table: RouteTable,
        locking: Locking,
        units: Sequence[Unit],
        deadline: float | None,
    ) -> None:
        self.layout = layout
        self.table = table
        self.locking = locking
        self.units = units
        self.deadline = deadline
        self.rules = single_rules(locking)
        self.of_route = self._of_route()
        self.concerned = self._concerned()
        self.events: dict[tuple[frozenset[str], frozenset[int]], dict[str, Event]] = {}

    def _of_route(self) -> Mapping[str, list[tuple[int, SingleRule]]]:
        """For each route the rules that say something of it, with their numbers."""
        found: dict[str, list[tuple[int, SingleRule]]] = {name: [] for name in self.table.routes}
        for number, rule in enumerate(self.rules):
            for route in _routes(rule):
                found[route].append((number, rule))
        return found

    def _concerned(self) -> Mapping[str, frozenset[int]]:
        """For each route the units that say something of it."""
        found: dict[str, set[int]] = {name: set() for name in self.table.routes}
        for number, unit in enumerate(self.units):
            for part in unit.parts:
                for route in _routes(self.rules[part]):
                    found[route].add(number)
            if unit.rule == Every("section clear"):
                for units in found.values():
                    units.add(number)
        return {name: frozenset(units) for name, units in found.items()}

    @cached_property
    def whole(self) -> Machine:
        """The machine with all rules."""
        return build_machine(self.layout, self.table, self.locking)

    @cached_property
    def near(self) -> Mapping[str, frozenset[str]]:
        return track_near(self.whole)

    def machine(self, gone: Collection[int]) -> Machine:
        return build_machine(
            self.layout, self.table, without(self.locking, [self.units[n] for n in gone])
        )

    def look(self, machine: Machine, routes: Collection[str]) -> list[Run]:
        """Shortest runs that go wrong, with the events of some routes."""
        events = restricted(machine, routes, self.near)
        # Drives that no event of these routes throws lie as they are.
        touched = {name for e in events if e.route is not None for name in e.updates}
        events = [
            e
            for e in events
            if e.route is not None
            or any(machine.variables[name].kind != "drive" or name in touched for name in e.updates)
        ]
        return wrong_runs(machine, events, MOST_STATES, self.deadline)

    def routes(self, gone: Collection[int]) -> dict[frozenset[str], frozenset[int]]:
        """Routes that can go wrong by themselves without some units, each with those."""
        out = frozenset(
            n
            for n in gone
            if not self.pairs_only((n,)) and self.units[n].rule != Every("section clear")
        )
        found = {frozenset((r,)): concerned & out for r, concerned in self.concerned.items()}
        return {route: units for route, units in found.items() if units}

    def pairs_only(self, some: Iterable[int]) -> bool:
        """Whether units only lock routes."""
        return all(
            unit.parts and all(isinstance(self.rules[part], Locks) for part in unit.parts)
            for unit in (self.units[number] for number in some)
        )

    def pairs(self, gone: Collection[int]) -> dict[frozenset[str], frozenset[int]]:
        """Pairs of routes between which locks are gone, with those units."""
        found: dict[frozenset[str], set[int]] = {}
        for number in gone:
            for part in self.units[number].parts:
                rule = self.rules[part]
                if isinstance(rule, Locks):
                    found.setdefault(frozenset((rule.first, rule.second)), set()).add(number)
        return {pair: frozenset(units) for pair, units in found.items()}

    def throwing(self, gone: Collection[int]) -> Iterator[frozenset[str]]:
        """Routes that throw a drive in a section that they need not clear, each with another
        over it; each such section once."""
        locking = without(self.locking, [self.units[n] for n in gone])
        for route, _, other in throwing_unseen(self.layout, self.table, locking):
            yield frozenset((route, other))

    def over_vehicles(self) -> Iterator[list[Protection]]:
        """What keeps each route from being set over vehicles that stand in one of its sections:
        units of which each by itself does, where without them nothing else would."""
        waiting = {need.route for need in self.locking.needs_set}
        holders: dict[str, dict[str, set[int]]] = {}
        for number, unit in enumerate(self.units):
            for part in unit.parts:
                rule = self.rules[part]
                if isinstance(rule, NeedsClear) and rule.route not in waiting:
                    own = holders.setdefault(rule.route, {})
                    own.setdefault(rule.section, set()).add(number)
        over = OverVehicles(self.whole, self.table, find_parts(self.layout).in_section)
        for route, of_section in holders.items():
            sections_clear = frozenset[int]().union(*of_section.values())
            for section, units in of_section.items():
                if self.wrong(over.run(route, section), sections_clear):
                    yield [frozenset((unit,)) for unit in sorted(units)]

    def wrong(self, run: Run, gone: Collection[int]) -> bool:
        """Whether a run is possible without some units, and goes wrong."""
        routes = run.routes
        concerned = frozenset[int]().union(*(self.concerned[route] for route in routes))
        key = (routes, concerned.intersection(gone))
        if key not in self.events:
            rules = {n: r for name in sorted(routes) for n, r in self.of_route[name]}
            locking = among_without(self.locking, rules.items(), [self.units[n] for n in key[1]])
            self.events[key] = events_among(self.layout, self.table, locking, routes)
        return goes_wrong(run, self.events[key], self.whole.invariants)

    def protections(self, run: Run, gone: Collection[int]) -> list[Protection]:
        """Of units that are gone those that keep from a run, each by itself; all together
        where none does."""
        out = frozenset(gone)
        near = frozenset[int]().union(*(self.concerned[route] for route in run.routes)) & out
        occupied = self._occupied(run)

        def may_matter(rule: SingleRule) -> bool:
            if isinstance(rule, NeedsClear):
                return (rule.route, rule.section) in occupied
            if isinstance(rule, NeedsSet):
                return rule.route in run.routes  # whether or not the other one is set in it
            return run.routes.issuperset(_routes(rule))

        every = {n for n in near if isinstance(self.units[n].rule, Every)}
        likely = every | {
            n for n in near - every if any(may_matter(self.rules[p]) for p in self.units[n].parts)
        }
        for some in (likely, near - likely):
            alone = [u for u in sorted(some) if not self.wrong(run, out - {u})]
            if alone:
                return [frozenset((unit,)) for unit in alone]
        return [near or out]

    def _occupied(self, run: Run) -> set[tuple[str, str]]:
        """Routes of which something is asked in a run, each with sections that are not clear
        just then: no other rule about clear sections is likely to matter."""
        found = set()
        state = dict(run.start)
        for event in run.events:
            if event.route is not None:
                for section, variables in self.tracks.items():
                    if any(state[name] != CLEAR for name in variables):
                        found.add((event.route, section))
            state = after(event, state)
        return found

    @cached_property
    def tracks(self) -> Mapping[str, Sequence[str]]:
        """The variables of the track in each section."""
        of, in_section = self.whole.variable_of, find_parts(self.layout).in_section
        return {
            section: [of["track", part].name for part in parts]
            for section, parts in in_section.items()
        }


def _routes(rule: SingleRule) -> tuple[str, ...]:
    match rule:
        case Locks():
            return (rule.first, rule.second)
        case NeedsSet():
            return (rule.route, rule.other)
        case Needs() | NeedsClear():
            return (rule.route,)
