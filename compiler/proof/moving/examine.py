"""The obligations of a clause: one for each event that could make it false.

Reads the packed machine and which clauses are still in play; solves nothing. So
many clauses can be examined side by side, by several processes or machines.
"""

from __future__ import annotations

import time
from array import array
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations

from bellcrank.proof.moving.clause_index import Index
from bellcrank.proof.moving.contradiction import Contradiction, Core
from bellcrank.proof.moving.likeness import NEVER, Kind, Kinds
from bellcrank.proof.moving.shapes import Shape, shape_of
from bellcrank.running.packed import Packed, PackedClause, PackedEvent, before

GOAL = -1
GUARD = -2

FEW = 3
"""Variables in a clause, up to which it is looked for whether another implies it."""

Tell = Callable[[int], None]
"""Told how many clauses have been examined."""

START = -1
"""Stands for an event where an obligation is about the start."""


@dataclass(slots=True)
class Findings:
    """The obligations of some clauses, in a form that is quickly sent from worker to worker.

    shapes: for each shape the obligations that have it: clause, event, clause, event …
    helping: clauses that were brought in together: how many, then their numbers; how
        many, then their numbers …
    leaning: clauses that were shown with such help: clause, place in `helping` …
    nothing: obligations for which no contradiction was found.
    left: clauses that were not examined in the time given.
    examined, count: how many clauses were, and obligations stated.
    places: as long as it is not closed, what will be `shapes`, by numbers of shapes.
    """

    shapes: dict[Shape, array[int]] = field(default_factory=dict)
    helping: array[int] = field(default_factory=lambda: array("i"))
    leaning: array[int] = field(default_factory=lambda: array("i"))
    nothing: list[tuple[int, int]] = field(default_factory=list)
    left: list[int] = field(default_factory=list)
    examined: int = 0
    count: int = 0
    places: dict[int, array[int]] = field(default_factory=dict)

    def state(self, shape: int, goal: int, event: int) -> None:
        """Take in an obligation, its shape by the number that the examiner gives it."""
        self.count += 1
        places = self.places.get(shape)
        if places is None:
            places = self.places[shape] = array("i")
        places.append(goal)
        places.append(event)

    def all_by(self, shape: int, helping: Sequence[int], goals: Iterable[int], event: int) -> None:
        """Take in the obligations of some clauses at one event that are of one shape, and
        shown with the help of the same clauses."""
        place = len(self.helping)
        if helping:
            self.helping.append(len(helping))
            self.helping.extend(helping)
        for goal in goals:
            self.state(shape, goal, event)
            if helping:
                self.leaning.append(goal)
                self.leaning.append(place)

    def groups(self) -> Iterator[tuple[int, array[int]]]:
        """The places of clauses that helped together, and these."""
        place = 0
        while place < len(self.helping):
            end = place + 1 + self.helping[place]
            yield place, self.helping[place + 1 : end]
            place = end

    def wanted(self) -> set[int]:
        """All clauses that were brought in."""
        return {number for _, group in self.groups() for number in group}

    def leaning_on(self, lost: set[int]) -> Iterator[int]:
        """The clauses that were shown with the help of one that is lost."""
        places = {place for place, group in self.groups() if not lost.isdisjoint(group)}
        for goal, place in zip(self.leaning[::2], self.leaning[1::2], strict=True):
            if place in places:
                yield goal

    def close(self, shapes: Sequence[Shape]) -> None:
        """Put the shapes themselves in place of their numbers."""
        self.shapes = {shapes[number]: places for number, places in self.places.items()}
        self.places = {}


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
        self.index = Index(packed)
        self.kinds = Kinds(packed, self.index, self.alive)
        self.shapes: list[Shape] = []
        self.shape_numbers: dict[Shape, int] = {}
        self.pairs: dict[tuple[int, int, int], int] = {}
        self.starts: dict[tuple[tuple[int, int, int], ...], int] = {}
        for number in range(len(packed.clauses)):
            self.index.take_in(number)

    def add(self, clause: PackedClause) -> int:
        """Take in one more clause; its number."""
        self.packed.clauses.append(clause)
        self.alive.append(True)
        self.index.take_in(len(self.alive) - 1)
        return len(self.alive) - 1

    def examine(
        self,
        goals: Iterable[int],
        deadline: float | None = None,
        tell: Tell | None = None,
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
        found.close(self.shapes)
        return found

    def _shape(self, clauses: Iterable[PackedClause]) -> int:
        """The number of the shape of clauses that are to be true together."""
        shape = shape_of(list(clauses), self.packed.full)
        number = self.shape_numbers.get(shape)
        if number is None:
            number = self.shape_numbers[shape] = len(self.shapes)
            self.shapes.append(shape)
        return number

    # ---------------------------------------------------- what takes no search

    def _at_once(self, goal: int, found: Findings) -> list[PackedEvent]:
        """State the obligation at the start, and others that take no search; the events
        that are left."""
        full, starts = self.packed.full, self.packed.start
        clause = self.packed.clauses[goal]
        key = tuple([(full[v], starts[v], mask) for v, mask in clause])
        if key not in self.starts:
            start = [((v, starts[v]),) for v, _ in clause]
            self.starts[key] = self._shape([*start, *self._away(clause)])
        found.state(self.starts[key], goal, START)
        stronger = self._stronger(goal)
        if stronger is not None:
            shape = self._shape([self.packed.clauses[stronger], *self._away(clause)])
            found.all_by(shape, [stronger], [goal], START)
            return []
        return self._threats(goal, clause, found)

    def _away(self, clause: PackedClause) -> list[PackedClause]:
        """That a clause is false, as clauses."""
        return [((v, self.packed.full[v] & ~mask),) for v, mask in clause]

    def _stronger(self, goal: int) -> int | None:
        """A clause from which this one follows at once: each of its literals is within
        one of this."""
        clause = dict(self.packed.clauses[goal])
        if len(clause) > FEW:
            return None
        for size in range(1, len(clause) + 1):
            for variables in combinations(clause, size):
                for number in self.index.over(variables):
                    if number == goal or not self.alive[number]:
                        continue
                    other = self.packed.clauses[number]
                    # Of two that are alike the later one follows from the earlier.
                    within = not any(m & ~clause[v] for v, m in other)
                    if within and (number < goal or dict(other) != clause):
                        return number
        return None

    def _threats(self, goal: int, clause: PackedClause, found: Findings) -> list[PackedEvent]:
        """Of the events that move a variable of a clause out of the values it names, state
        those that the guard alone keeps from making it false; the others."""
        full = self.packed.full
        literals = [(v, mask, full[v], full[v] & ~mask) for v, mask in clause]
        seen: set[int] = set()
        left = []
        for variable, mask in clause:
            for move in self.packed.moves[variable]:
                allowed = move.allowed & mask
                for old, new in move.changes:
                    if old & allowed and not new & mask:
                        break
                else:
                    continue
                for event in move.events:
                    if event.number in seen:
                        continue
                    seen.add(event.number)
                    units, updates = event.units, event.updates
                    for other, its, values, away in literals:
                        if other in units:
                            if other in updates:
                                away = values & ~before(event, other, its)
                            if not units[other] & away:
                                shape = self._plain(other, away, units[other], values)
                                found.state(shape, goal, event.number)
                                break
                    else:
                        left.append(event)
        return left

    def _plain(self, variable: int, away: int, allowed: int, values: int) -> int:
        """The shape where the guard allows a variable none of the values that it would
        have to have."""
        key = (away, allowed, values)
        shape = self.pairs.get(key)
        if shape is None:
            shape = self._shape([((variable, away),), ((variable, allowed),)])
            self.pairs[key] = shape
        return shape

    # ------------------------------------------------------- what takes a search

    def _at_event(self, event: PackedEvent, goals: list[int], found: Findings) -> None:
        """State the obligations of some clauses at one event, as at another like it, or
        after a search."""
        kind, slots = self.kinds.of(event)
        # Accidents should not be possible at all, whatever would become false by them.
        never = self.kinds.known(kind, NEVER, slots)
        if never is not None:
            shape, helping = never
            found.all_by(shape, helping, goals, event.number)
            return
        anew = []
        for goal in goals:
            likeness, own = self.kinds.goal(self.packed.clauses[goal], slots)
            shown = self.kinds.known(kind, likeness, own)
            if shown is None:
                anew.append(goal)
                continue
            shape, helping = shown
            found.all_by(shape, helping, [goal], event.number)
        if anew:
            self._anew(event, anew, found, kind, slots)

    def _anew(
        self,
        event: PackedEvent,
        goals: list[int],
        found: Findings,
        kind: Kind,
        slots: list[int],
    ) -> None:
        """State the obligations of some clauses at one event after a search, and
        remember what came of it."""
        known = Contradiction(
            self.packed,
            self.index,
            self.alive,
            [(GUARD, c) for c in event.guard],
            [v for v in event.units if self.packed.signal[v]],
        )
        guard: list[tuple[int, PackedClause]] = [
            (GUARD, ((v, mask),)) for v, mask in event.units.items()
        ]
        core = known.refute(guard, split=self.packed.accident[event.number])
        if core is not None:
            shape = self._shape(c for _, c in core)
            if kind.comes_again(NEVER):
                kind.remember(NEVER, self.kinds.recipe(shape, _helping(core), slots))
            found.all_by(shape, _helping(core), goals, event.number)
            return
        for goal in goals:
            search = known.beginning()
            facts = self._facts(goal, event)
            core = search.refute(facts)
            if core is not None:
                shape = self._shape(c for _, c in core)
                likeness, own = self.kinds.goal(self.packed.clauses[goal], slots)
                if kind.comes_again(likeness):
                    kind.remember(likeness, self.kinds.recipe(shape, _helping(core), own))
            elif self.thorough:
                core = search.wide([*facts, *guard])
                shape = self._shape(c for _, c in core)
            else:
                found.count += 1
                found.nothing.append((goal, event.number))
                continue
            found.all_by(shape, _helping(core), [goal], event.number)

    def _facts(self, goal: int, event: PackedEvent) -> list[tuple[int, PackedClause]]:
        """That a goal is false after an event: each of its variables was elsewhere."""
        return [
            (GOAL, ((v, self.packed.full[v] & ~before(event, v, mask)),))
            for v, mask in self.packed.clauses[goal]
        ]


def _helping(core: Core) -> list[int]:
    """The clauses of a core that are neither goal nor guard, by number."""
    return [number for number, _ in core if number >= 0]
