"""What showed one clause at an event, tried first for the next that differs in names and values.

In a station with many roads one event is a danger to many clauses that are alike but for the
route, and so for the values that stand for it: which route holds a section, how far its train
has come. Variables have other values there, and as many helping clauses as there are other
routes, so no renaming of names alone leads from one to the other (`symmetry.py`). What stays
the same is over which variables the helping clauses are: some of the goal, some of the
surroundings. So propagation is done once more, with the clauses over those variables alone, in
the order in which they led to the contradiction: it takes a few steps where a search looks
about in the whole station.

As with any search, what is found is a suggestion of which clauses to bring together; its shape
is made of its own names, and a solver decides it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from bellcrank.proof.moving.propagation import GUARD, Core, Numbered, Propagation

MOST_TRAILS = 3
"""Trails for clauses of one kind at one event; more are not worth the trying."""


@dataclass(frozen=True, slots=True)
class Trail:
    """How a contradiction was come to.

    over: for each step the variables of the clauses that were asked; one of the goal is
        ~its place there.
    guard: clauses of the guard that took part.
    """

    over: tuple[tuple[int, ...], ...]
    guard: tuple[Numbered, ...]


class Trails:
    """The trails at one event. kinds: of each variable of the machine what it is of."""

    def __init__(self, kinds: Sequence[str]) -> None:
        self._kinds = kinds
        self._trails: dict[tuple[str, ...], list[Trail]] = defaultdict(list)

    def _of(self, facts: Sequence[Numbered]) -> list[Trail]:
        return self._trails[tuple([self._kinds[fact[0][0]] for _, fact in facts])]

    def retrace(self, facts: Sequence[Numbered], known: Propagation) -> Core | None:
        """Clauses that cannot be true together with these facts, one for each variable of the
        goal; None if no trail leads to any."""
        trails = self._of(facts)
        for place, trail in enumerate(trails):
            over = [
                [v if v >= 0 else facts[~v][1][0][0] for v in variables] for variables in trail.over
            ]
            core = known.branch().refute_along(facts, over, trail.guard)
            if core is not None:
                if place:
                    trails.insert(0, trails.pop(place))
                return core
        return None

    def remember(self, facts: Sequence[Numbered], core: Core) -> None:
        """Try what led to a contradiction again from now on."""
        place = {fact[0][0]: ~i for i, (_, fact) in enumerate(facts)}
        # A core is gathered backwards, from the contradiction to what it came of.
        backwards = reversed(core)
        over: dict[tuple[int, ...], None] = {}
        guard: list[Numbered] = []
        for number, clause in backwards:
            if number >= 0:
                over[tuple([place.get(v, v) for v, _ in clause])] = None
            elif number == GUARD and len(clause) > 1:
                guard.append((number, clause))
        trail = Trail(tuple(over), tuple(guard))
        trails = self._of(facts)
        if trail not in trails:
            trails.insert(0, trail)
            del trails[MOST_TRAILS:]
