"""What must be able to happen: that every route can be set, and expectations `with`.

A run that replays
shows that a thing can happen; no solver is needed for that. That it cannot is proved like any other
clause that must always hold.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import permutations

from bellcrank.machine.machine_model import (
    Clause,
    Event,
    Is,
    Machine,
    Wish,
    changes,
    holds,
    possible,
)

_STAGES = ("route", "progress")
"""Variables that say how far a route has got."""

MOST_ORDERS = 24
"""Orders in which some routes are tried to be set."""


class _State(dict[str, str]):
    """The values that differ from those at the start."""

    def __init__(self, start: Mapping[str, str], changed: Mapping[str, str] = {}) -> None:
        super().__init__(changed)
        self.start = start

    def __missing__(self, name: str) -> str:
        return self.start[name]


@dataclass(slots=True)
class Setter:
    """Sets routes from rest, with no train about, by running the machine.

    requests, clears: what sets each route and clears its signal.
    arrives: what ends the throw of a drive, or tells that it has ended, by the variable that
        it changes and that one's value.
    """

    machine: Machine
    start: dict[str, str] = field(init=False)
    requests: dict[str, Event] = field(default_factory=dict)
    clears: dict[str | None, Event] = field(default_factory=dict)
    arrives: dict[tuple[str, str], Event] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.start = self.machine.start()
        for event in self.machine.events:
            if event.kind == "request":
                self.requests[event.of] = event
            elif event.kind == "signal clears":
                self.clears[event.route] = event
            elif event.kind in ("drive arrives", "reported lying", "time runs out"):
                for name, becomes in event.updates.items():
                    self.arrives |= {(name, value): event for value in becomes}

    def run_for(self, wish: Wish) -> list[Event] | None:
        """A run after which the signals of all routes of a wish are off, or None."""
        for count, order in enumerate(permutations(wish.routes)):
            if count == MOST_ORDERS:
                break
            state = _State(self.start)
            run: list[Event] = []
            if all(self._set(route, state, run, 0) for route in order) and self._off(wish, state):
                return run
        return None

    def _off(self, wish: Wish, state: _State) -> bool:
        cleared = [self.clears[route] for route in wish.routes]
        return all(
            any(state[name] == value for value in becomes.values())
            for event in cleared
            for name, becomes in event.updates.items()
        )

    def _set(self, route: str, state: _State, run: list[Event], depth: int) -> bool:
        request = self.requests[route]
        for clause in request.guard:
            if holds(clause, state):
                continue
            # A route that needs another to be set: set that first.
            needed = [self.machine.variables[x.variable] for x in clause]
            if (
                len(needed) != 1
                or needed[0].kind not in _STAGES
                or needed[0].of == route
                or depth > 4
            ):
                return False
            if not self._set(needed[0].of, state, run, depth + 1):
                return False
        if not self._do(request, state, run):
            return False
        # First the drives themselves, then what is told of them.
        for _ in range(2):
            for name in request.updates:
                arrives = self.arrives.get((name, state[name]))
                if arrives is not None:
                    self._do(arrives, state, run)
        return self._do(self.clears[route], state, run)

    def _do(self, event: Event, state: _State, run: list[Event]) -> bool:
        if not possible(event, state):
            return False
        state.update(changes(event, state))
        run.append(event)
        return True


def never_set_together(machine: Machine, routes: Iterable[str]) -> Clause:
    """The clause that one of some routes is always idle, from which it follows that their
    signals are never off at once."""
    stages = (machine.variable_of["route", route] for route in routes)
    return tuple(Is(stage.name, frozenset(stage.initial)) for stage in stages)


def never_off_together(machine: Machine, routes: Iterable[str]) -> Clause:
    """The clause that the signals of some routes are never off at once."""
    literals = []
    for route in routes:
        for event in machine.events:
            if event.kind == "signal clears" and event.route == route:
                (name,) = (n for n in event.updates if machine.variables[n].kind == "signal")
                values = frozenset(machine.variables[name].values) - {route}
                literals.append(Is(name, values))
    return tuple(literals)
