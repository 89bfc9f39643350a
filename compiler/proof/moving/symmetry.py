"""Obligations that are like one stated before, at another place of the railway.

Symmetry reduction (C. N. Ip and D. L. Dill, "Better verification through symmetry", 1996),
of obligations instead of states, and from place to place instead of by a symmetry of the
whole: a railway has many places of one kind, and what happens there differs in names only.
Where the guard and the changes of two events are the same but for names, the clauses
that showed something at one are looked up by their renamed words among those of the
other. If all are there, the obligation has the shape of the first, and takes neither a
search nor a new shape; if one is missing, the search is made as for the first.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from bellcrank.proof.moving.clauses_in_play import ClausesInPlay
from bellcrank.running.packed import Packed, PackedClause, PackedEvent

Likeness = tuple[object, ...]
"""What is the same of things that differ in names only."""

NEVER: Likeness = ()
"""In place of the likeness of a goal."""

MOST_TRIED = 16
"""Recipes for one kind of event and goal; more are not worth the trying."""


@dataclass(frozen=True, slots=True)
class Step:
    """How a helping clause is found.

    literals: the slots of its variables, with sets of values.
    start: -1 where every slot is filled by then, so that the clause is looked up by its
        words; else a literal whose slot is filled.
    fresh: for each slot that it fills, all values of its variable.
    rank: how many clauses that look alike come before it; -1 if it is not among them.
    """

    literals: tuple[tuple[int, int], ...]
    start: int = -1
    fresh: tuple[tuple[int, int], ...] = ()
    rank: int = 0


@dataclass(frozen=True, slots=True)
class Recipe:
    """What shows an obligation: the number of its shape, and where its helping clauses
    are found. Slots stand for variables: those of the event come first, then those of
    the goal, then those that helping clauses bring in."""

    shape: int
    steps: tuple[Step, ...]


@dataclass(slots=True)
class Kind:
    """Events that differ in names only.

    events: how many there are.
    recipes: what has shown a goal, by its likeness, in one surrounding or another;
        NEVER stands for what shows that such an event never happens.
    """

    events: int = 0
    recipes: dict[Likeness, list[Recipe]] = field(default_factory=dict)

    def comes_again(self, likeness: Likeness) -> bool:
        """Whether a goal was met before: what comes but once need not be remembered."""
        known = likeness in self.recipes
        if not known:
            self.recipes[likeness] = []
        return known

    def remember(self, likeness: Likeness, recipe: Recipe | None) -> None:
        """Try a recipe first from now on."""
        known = self.recipes[likeness]
        if recipe is not None and recipe not in known:
            known.insert(0, recipe)
            del known[MOST_TRIED:]


class Kinds:
    """The kinds of the events of a machine."""

    def __init__(self, packed: Packed, clauses: ClausesInPlay) -> None:
        self.packed = packed
        self.clauses = clauses
        kinds: dict[Likeness, Kind] = defaultdict(Kind)
        self._kinds = [kinds[self._likeness(event, slots_of(event))] for event in packed.events]
        for kind in self._kinds:
            kind.events += 1

    def kind(self, number: int) -> Kind:
        """The kind of the event of a number."""
        return self._kinds[number]

    def of(self, event: PackedEvent) -> tuple[Kind, list[int]]:
        """The kind of an event, and its variables by slot; without slots if it is the only
        one of its kind, so that nothing is ever taken over."""
        kind = self._kinds[event.number]
        return kind, list(slots_of(event)) if kind.events > 1 else []

    def _likeness(self, event: PackedEvent, slot: dict[int, int]) -> Likeness:
        full = self.packed.full
        return (
            tuple([full[v] for v in slot]),
            tuple([mask for _, mask in event.conditions]),
            tuple([tuple([(slot[v], mask) for v, mask in clause]) for clause in event.guard]),
            tuple([(slot[v], changes) for v, changes in event.changes]),
        )

    def goal(self, clause: PackedClause, slots: list[int]) -> tuple[Likeness, list[int]]:
        """The likeness of a goal at an event, and the slots with its own variables."""
        words: list[int] = []
        for variable, mask in clause:
            if variable in slots:
                words += (slots.index(variable), mask, 0)
            else:
                words += (len(slots), mask, self.packed.full[variable])
                slots = [*slots, variable]
        return tuple(words), slots

    def recipe(self, shape: int, helping: Iterable[int], slots: list[int]) -> Recipe | None:
        """How the helping clauses of an obligation are found from the variables of event
        and goal; None if they are not joined to those."""
        filled = {v: i for i, v in enumerate(slots)}
        left = dict.fromkeys(self.clauses.clauses[number] for number in helping)
        missing = {c: sum(v not in filled for v, _ in c) for c in left}
        naming: dict[int, list[PackedClause]] = defaultdict(list)
        for clause in left:
            for variable, _ in clause:
                naming[variable].append(clause)
        known = deque(c for c in left if not missing[c])
        joined = deque(c for c in left if 0 < missing[c] < len(c))
        steps = []
        while left:
            found = known.popleft() if known else _first(joined, missing)
            if found is None:
                return None
            clause = found
            if missing[clause]:
                step, new = self._step(clause, filled)
                for variable in new:
                    for other in naming[variable]:
                        missing[other] -= 1
                        if not missing[other]:
                            known.append(other)
                        else:
                            joined.append(other)
                known.remove(clause)
            else:
                step = Step(tuple((filled[v], mask) for v, mask in clause))
            steps.append(step)
            del left[clause]
        return Recipe(shape, tuple(steps))

    def _step(self, clause: PackedClause, filled: dict[int, int]) -> tuple[Step, list[int]]:
        """How a clause is found that brings in variables, and these; they are filled in."""
        before = list(filled)
        start = next(i for i, (v, _) in enumerate(clause) if v in filled)
        new = [v for v, _ in clause if v not in filled]
        for variable in new:
            filled[variable] = len(filled)
        step = Step(
            tuple((filled[v], mask) for v, mask in clause),
            start,
            tuple((filled[v], self.packed.full[v]) for v in new),
        )
        alike = enumerate(self._alike(step, before))
        rank = next((r for r, number in alike if self.clauses.clauses[number] == clause), -1)
        return replace(step, rank=rank), new

    def _alike(self, step: Step, slots: Sequence[int]) -> Iterator[int]:
        """The clauses that a step could mean."""
        clauses, standing, full = self.clauses.clauses, self.clauses.standing, self.packed.full
        count, start = len(step.literals), step.start
        slot, mask = step.literals[start]
        first = (slots[slot], mask)
        fresh = dict(step.fresh)
        for number in self.clauses.with_literal(first, count):
            clause = clauses[number]
            if len(clause) != count or clause[start] != first or not standing[number]:
                continue
            for (v, m), (slot, wanted) in zip(clause, step.literals, strict=True):
                if m != wanted:
                    break
                if slot in fresh:
                    if full[v] != fresh[slot] or v in slots:
                        break
                elif v != slots[slot]:
                    break
            else:
                yield number

    def known(
        self, kind: Kind, likeness: Likeness, slots: list[int]
    ) -> tuple[int, list[int]] | None:
        """The shape of an obligation and its helping clauses, by a recipe that can be
        followed; None if there is none."""
        for recipe in kind.recipes.get(likeness, ()):
            numbers = self.follow(recipe, list(slots))
            if numbers is not None:
                return recipe.shape, numbers
        return None

    def follow(self, recipe: Recipe, slots: list[int]) -> list[int] | None:
        """The helping clauses at a place like the first; None if one is missing.

        Slots of variables that clauses bring in are filled in.
        """
        numbers = []
        for step in recipe.steps:
            if step.start < 0:
                clause = tuple([(slots[s], m) for s, m in step.literals])
                number = self.clauses.find(clause)
                if number < 0 or not self.clauses.standing[number]:
                    return None
            else:
                number = self._brought_in(step, slots)
                if number < 0:
                    return None
            numbers.append(number)
        return numbers

    def _brought_in(self, step: Step, slots: list[int]) -> int:
        for rank, number in enumerate(self._alike(step, slots)):
            if rank == step.rank:
                clause = self.clauses.clauses[number]
                slots += [
                    v
                    for (v, _), (slot, _) in zip(clause, step.literals, strict=True)
                    if slot >= len(slots)
                ]
                return number
        return -1


def slots_of(event: PackedEvent) -> dict[int, int]:
    """The variables of an event, each with its slot."""
    slot: dict[int, int] = {v: i for i, (v, _) in enumerate(event.conditions)}
    for clause in event.guard:
        for variable, _ in clause:
            slot.setdefault(variable, len(slot))
    for variable, _ in event.changes:
        slot.setdefault(variable, len(slot))
    return slot


def _first(joined: deque[PackedClause], missing: dict[PackedClause, int]) -> PackedClause | None:
    """The first that still brings in variables, if any."""
    while joined:
        clause = joined.popleft()
        if missing[clause]:
            return clause
    return None
