"""The obligations of a clause: one for each event that could make it false.

Reads the packed machine and which clauses are still in play; solves nothing. So
many clauses can be examined side by side, by several processes or machines.
"""

from __future__ import annotations

import time
from array import array
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from itertools import combinations

from bellcrank.proof.contradiction import ByPair, ByVariable, Contradiction, Core
from bellcrank.proof.packed import Packed, PackedClause, PackedEvent, before
from bellcrank.proof.shapes import Shape, shape_of

GOAL = -1
GUARD = -2

FEW = 3
"""Variables in a clause, up to which it is looked for whether another implies it."""

START = -1
"""Stands for an event where an obligation is about the start."""


@dataclass(slots=True)
class Findings:
    """The obligations of some clauses, in a form that is quickly sent from worker to worker.

    shapes: for each shape the obligations that have it: clause, event, clause, event …
    leaning: clauses and others that were brought in to show them, also by twos.
    wanted: all clauses that were brought in.
    nothing: obligations for which no contradiction was found.
    left: clauses that were not examined in the time given.
    examined, count: how many clauses were, and obligations stated.
    """

    shapes: dict[Shape, array[int]] = field(default_factory=dict)
    leaning: array[int] = field(default_factory=lambda: array("q"))
    wanted: set[int] = field(default_factory=set)
    nothing: list[tuple[int, int]] = field(default_factory=list)
    left: list[int] = field(default_factory=list)
    examined: int = 0
    count: int = 0

    def state(self, shape: Shape, goal: int, event: int) -> None:
        """Take in an obligation."""
        self.count += 1
        places = self.shapes.get(shape)
        if places is None:
            places = self.shapes[shape] = array("q")
        places.append(goal)
        places.append(event)

    def lean(self, goal: int, others: Iterable[int]) -> None:
        """Take in that a clause is shown with the help of others."""
        for other in others:
            if other != goal:
                self.leaning.append(goal)
                self.leaning.append(other)
                self.wanted.add(other)


class Examiner:
    """States the obligations of the clauses of a packed machine.

    alive: for each clause whether it is still in play.
    thorough: whether an obligation for which no contradiction was found is stated
        with everything near it, or not at all.
    """

    def __init__(self, packed: Packed, *, thorough: bool = False) -> None:
        self.packed = packed
        self.thorough = thorough
        self.alive = [True] * len(packed.clauses)
        self.by_variable: ByVariable = [[] for _ in packed.full]
        self.by_pair: ByPair = [[] for _ in packed.full]
        self.by_variables: dict[frozenset[int], list[int]] = defaultdict(list)
        self.pairs: dict[tuple[int, int, int], Shape] = {}
        self.starts: dict[tuple[tuple[int, int, int], ...], Shape] = {}
        for number in range(len(packed.clauses)):
            self._index(number)

    def _index(self, number: int) -> None:
        clause = self.packed.clauses[number]
        if len(clause) == 2:
            (one, its), (other, others) = clause
            self.by_pair[one].append((its, number, other, others))
            self.by_pair[other].append((others, number, one, its))
        else:
            for variable, mask in clause:
                self.by_variable[variable].append((mask, number))
        if len(clause) <= FEW:
            self.by_variables[frozenset(v for v, _ in clause)].append(number)

    def add(self, clause: PackedClause) -> int:
        """Take in one more clause; its number."""
        self.packed.clauses.append(clause)
        self.alive.append(True)
        self._index(len(self.alive) - 1)
        return len(self.alive) - 1

    def examine(
        self,
        goals: Iterable[int],
        deadline: float | None = None,
        tell: Callable[[int], None] | None = None,
    ) -> Findings:
        """The obligations of some clauses.

        deadline: a time of the monotonic clock at which to leave the rest.
        tell: told now and then how many are done.
        """
        found = Findings()
        threats: dict[int, list[int]] = defaultdict(list)
        for goal in goals:
            found.examined += 1
            for event in self._at_once(goal, found):
                threats[event.number].append(goal)
        given_up: set[int] = set()
        done = 0
        for number, threatened in threats.items():
            if done % 64 == 0 and tell is not None:
                tell(found.examined * done // len(threats))
            done += 1
            if deadline is not None and time.monotonic() > deadline:
                found.left += [goal for goal in threatened if goal not in given_up]
                given_up.update(threatened)
                continue
            self._at_event(self.packed.events[number], threatened, found)
        return found

    def _at_once(self, goal: int, found: Findings) -> Iterable[PackedEvent]:
        """State the obligation at the start, and others that take no search; the events
        that are left."""
        full = self.packed.full
        clause = self.packed.clauses[goal]
        start = [(v, self.packed.start[v]) for v, _ in clause]
        away = [(v, full[v] & ~mask) for v, mask in clause]
        key = tuple((full[v], self.packed.start[v], mask) for v, mask in clause)
        if key not in self.starts:
            parts: list[PackedClause] = [(literal,) for literal in (*start, *away)]
            self.starts[key] = shape_of(parts, full)
        found.state(self.starts[key], goal, START)
        stronger = self._stronger(goal)
        if stronger is not None:
            parts = [self.packed.clauses[stronger], *((literal,) for literal in away)]
            found.state(shape_of(parts, full), goal, START)
            found.lean(goal, (stronger,))
            return ()
        left = []
        for event in self._threats(clause):
            plain = self._plain(clause, event)
            if plain is None:
                left.append(event)
            else:
                found.state(plain, goal, event.number)
        return left

    def _at_event(self, event: PackedEvent, goals: list[int], found: Findings) -> None:
        """State the obligations of some clauses at one event."""
        known = Contradiction(
            self.packed,
            self.by_variable,
            self.by_pair,
            self.alive,
            [(GUARD, c) for c in event.guard],
            [v for v in event.units if self.packed.signal[v]],
        )
        guard: list[tuple[int, PackedClause]] = [
            (GUARD, ((v, mask),)) for v, mask in event.units.items()
        ]
        # Accidents should not be possible at all, whatever would become false by them.
        core = known.refute(guard, split=self.packed.accident[event.number])
        if core is not None:
            numbers = {n for n, _ in core if n >= 0}
            shape = shape_of([c for _, c in core], self.packed.full)
            for goal in goals:
                found.state(shape, goal, event.number)
                found.lean(goal, numbers)
            return
        for goal in goals:
            core = self._core(goal, event, known, guard)
            if core is None:
                found.count += 1
                found.nothing.append((goal, event.number))
                continue
            found.state(shape_of([c for _, c in core], self.packed.full), goal, event.number)
            found.lean(goal, {n for n, _ in core if n >= 0})

    def _stronger(self, goal: int) -> int | None:
        """A clause from which this one follows at once: each of its literals is within
        one of this."""
        clause = dict(self.packed.clauses[goal])
        if len(clause) > FEW:
            return None
        for size in range(1, len(clause) + 1):
            for variables in combinations(clause, size):
                for number in self.by_variables.get(frozenset(variables), ()):
                    if number == goal or not self.alive[number]:
                        continue
                    other = self.packed.clauses[number]
                    # Of two that are alike the later one follows from the earlier.
                    within = not any(m & ~clause[v] for v, m in other)
                    if within and (number < goal or dict(other) != clause):
                        return number
        return None

    def _threats(self, clause: PackedClause) -> Iterator[PackedEvent]:
        """Events that move a variable of a clause out of the values it names."""
        seen: set[int] = set()
        for variable, mask in clause:
            for event in self.packed.movers[variable]:
                if event.number in seen:
                    continue
                allowed = event.units.get(variable, self.packed.full[variable]) & mask
                if not allowed:
                    continue
                for old, new in event.updates[variable]:
                    if old & allowed and not new & mask:
                        seen.add(event.number)
                        yield event
                        break

    def _plain(self, clause: PackedClause, event: PackedEvent) -> Shape | None:
        """The shape where the guard alone keeps the event from making a clause false."""
        for variable, mask in clause:
            allowed = event.units.get(variable)
            if allowed is not None:
                away = self.packed.full[variable] & ~before(event, variable, mask)
                if not allowed & away:
                    key = (away, allowed, self.packed.full[variable])
                    if key not in self.pairs:
                        pair: list[PackedClause] = [((variable, away),), ((variable, allowed),)]
                        self.pairs[key] = shape_of(pair, self.packed.full)
                    return self.pairs[key]
        return None

    def _core(
        self,
        goal: int,
        event: PackedEvent,
        known: Contradiction,
        guard: list[tuple[int, PackedClause]],
    ) -> Core | None:
        """Clauses that cannot be true together, if they are found; else none, or if need
        be many. Each comes with its number, or GOAL or GUARD."""
        # After the event the goal is false: each of its variables was elsewhere.
        facts: list[tuple[int, PackedClause]] = [
            (GOAL, ((v, self.packed.full[v] & ~before(event, v, mask)),))
            for v, mask in self.packed.clauses[goal]
        ]
        search = known.beginning()
        core = search.refute(facts)
        if core is not None or not self.thorough:
            return core
        return search.wide([*facts, *guard])
