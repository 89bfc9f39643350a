"""What became of examined clauses: their obligations, by numbers.

Numbers alone are quickly sent from worker to worker, and a million take little memory.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from bellcrank.proof.moving.shapes import Shape

START = -1
"""Stands for an event where an obligation is about the states at the start."""

IN_ANY_STATE = -2
"""Stands for an event where a clause follows from another in any state whatever."""


@dataclass(frozen=True, slots=True)
class Obligation:
    """That a clause is true after an event, if other clauses are true before it.

    All by numbers; the event may be START or IN_ANY_STATE.
    """

    clause: int
    event: int
    helping: tuple[int, ...] = ()


@dataclass(slots=True)
class Findings:
    """The obligations of some clauses.

    shapes: for each shape the obligations that have it: clause, event, clause, event …
    examples: for each shape the first of them.
    helping: clauses that were brought in together: at which event, how many, and their numbers;
        at which event, how many, and their numbers …
    leaning: clauses that were shown with such help: clause, place in `helping` …
    nothing: obligations for which no contradiction was found.
    left: clauses that were not examined in the time given.
    examined, count: how many clauses were, and obligations stated.
    guarded: the shapes that a longer clause of a guard took part in, at whatever event.
    taken: of clauses that were taken over from elsewhere, how many obligations they have, and
        whether they follow in any state.
    """

    shapes: dict[Shape, array[int]] = field(default_factory=dict)
    examples: dict[Shape, Obligation] = field(default_factory=dict)
    helping: array[int] = field(default_factory=lambda: array("i"))
    leaning: array[int] = field(default_factory=lambda: array("i"))
    nothing: list[tuple[int, int]] = field(default_factory=list)
    left: list[int] = field(default_factory=list)
    examined: int = 0
    count: int = 0
    guarded: set[Shape] = field(default_factory=set)
    taken: dict[int, tuple[int, bool]] = field(default_factory=dict)

    def take_over(
        self, goal: int, count: int, helping: Sequence[int], *, in_any_state: bool = False
    ) -> None:
        """Take over all obligations of a clause, with what helps to show them."""
        self.count += count
        self.taken[goal] = count, in_any_state
        self._lean(START, goal, helping)

    def take_over_at(self, event: int, goal: int, helping: Sequence[int]) -> None:
        """Take over the obligation of a clause at one event, with what helps to show it."""
        self.count += 1
        self._lean(event, goal, helping)

    def _lean(self, event: int, goal: int, helping: Sequence[int]) -> None:
        if helping:
            self.leaning.append(goal)
            self.leaning.append(len(self.helping))
            self.helping.append(event)
            self.helping.append(len(helping))
            self.helping.extend(helping)

    def groups(self) -> Iterator[tuple[int, array[int]]]:
        """The places of clauses that helped together, and these."""
        place = 0
        while place < len(self.helping):
            end = place + 2 + self.helping[place + 1]
            yield place, self.helping[place + 2 : end]
            place = end

    def leans(self) -> Iterator[tuple[int, int, array[int]]]:
        """The clauses that were shown with help, at which event, and with that of which clauses."""
        groups = dict(self.groups())
        for goal, place in zip(self.leaning[::2], self.leaning[1::2], strict=True):
            yield goal, self.helping[place], groups[place]

    def wanted(self) -> set[int]:
        """All clauses that were brought in."""
        found: set[int] = set()
        for _, group in self.groups():
            found.update(group)
        return found

    def leaning_on(self, lost: set[int]) -> Iterator[int]:
        """The clauses that were shown with the help of one that is lost."""
        places = {place for place, group in self.groups() if not lost.isdisjoint(group)}
        for goal, place in zip(self.leaning[::2], self.leaning[1::2], strict=True):
            if place in places:
                yield goal


class Finding:
    """Findings in the making, with shapes by the numbers that the examiner gives them."""

    def __init__(self) -> None:
        self.findings = Findings()
        self._places: dict[int, array[int]] = {}
        self._examples: dict[int, Obligation] = {}

    def state(self, shape: int, goal: int, event: int) -> None:
        """Take in an obligation that takes no clause's help."""
        self.findings.count += 1
        places = self._places_of(shape, goal, event, ())
        places.append(goal)
        places.append(event)

    def all_by(self, shape: int, helping: Sequence[int], goals: Sequence[int], event: int) -> None:
        """Take in the obligations of some clauses at one event that are of one shape, and
        shown with the help of the same clauses."""
        found = self.findings
        found.count += len(goals)
        places = self._places_of(shape, goals[0], event, helping)
        place = len(found.helping)
        if helping:
            found.helping.append(event)
            found.helping.append(len(helping))
            found.helping.extend(helping)
        for goal in goals:
            places.append(goal)
            places.append(event)
            if helping:
                found.leaning.append(goal)
                found.leaning.append(place)

    def _places_of(self, shape: int, goal: int, event: int, helping: Sequence[int]) -> array[int]:
        """The obligations of a shape so far; this one is the example of it if it is the first."""
        places = self._places.get(shape)
        if places is None:
            places = self._places[shape] = array("i")
            self._examples[shape] = Obligation(goal, event, tuple(helping))
        return places

    def close(self, shapes: Sequence[Shape], guarded: Iterable[int]) -> Findings:
        """The findings, with the shapes themselves in place of their numbers."""
        self.findings.guarded = {shapes[n] for n in guarded if n in self._places}
        self.findings.shapes = {shapes[n]: places for n, places in self._places.items()}
        self.findings.examples = {shapes[n]: example for n, example in self._examples.items()}
        return self.findings
