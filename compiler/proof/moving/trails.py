"""What showed one clause at an event, tried first for the next that differs in names and values.

In a station with many roads one event is a danger to many clauses that are alike but for the
route, and so for the values that stand for it: which route holds a section, how far its train
has come. Variables have other values there, and as many helping clauses as there are other
routes, so no renaming of names alone leads from one to the other (`symmetry.py`). What stays
the same is over which variables the helping clauses are: some of the goal, some that are of the
same thing as one of the goal (how far a route's train has come, and what the controller knows of
that), some of the surroundings. So propagation is done once more, with the clauses and the parts
of the guard over those variables alone, in the order in which they led to the contradiction: it
takes a few steps where a search looks about in the whole station.

As with any search, what is found is a suggestion of which clauses to bring together; its shape
is made of its own names, and a solver decides it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from bellcrank.machine.machine_model import VariableKind
from bellcrank.proof.moving.propagation import GUARD, Core, Numbered, Propagation
from bellcrank.running.packed import Packed

MOST_TRAILS = 3
"""Trails for clauses of one kind at one event; more are not worth the trying."""


Of = tuple[int, VariableKind]
"""A variable of the same thing as one of the goal: the place of that in the goal, and its own
kind. The goal's own variables are meant so, too."""

Step = tuple[int | Of, ...]
"""The variables of clauses that were asked: by their numbers, or as those of a goal."""


class Trails:
    """The trails at one event."""

    def __init__(self, packed: Packed) -> None:
        self._packed = packed
        self._trails: dict[tuple[str, ...], list[tuple[Step, ...]]] = defaultdict(list)

    def _of(self, facts: Sequence[Numbered]) -> list[tuple[Step, ...]]:
        return self._trails[tuple([self._packed.kinds[fact[0][0]] for _, fact in facts])]

    def retrace(self, facts: Sequence[Numbered], known: Propagation) -> Core | None:
        """Clauses that cannot be true together with these facts, one for each variable of the
        goal; None if no trail leads to any."""
        trails = self._of(facts)
        for place, trail in enumerate(trails):
            over = self._there(trail, [self._packed.of[fact[0][0]] for _, fact in facts])
            if over is None:
                continue
            core = known.branch().refute_along(facts, over)
            if core is not None:
                if place:
                    trails.insert(0, trails.pop(place))
                return core
        return None

    def remember(self, facts: Sequence[Numbered], core: Core) -> None:
        """Try what led to a contradiction again from now on."""
        packed = self._packed
        # Of two variables of the goal that are of one thing the first will do for others of it.
        place = {packed.of[fact[0][0]]: i for i, (_, fact) in reversed([*enumerate(facts)])}

        def meant(variable: int) -> int | Of:
            i = place.get(packed.of[variable])
            if i is None or packed.only[packed.kinds[variable], packed.of[variable]] != variable:
                return variable
            return i, packed.kinds[variable]

        # A core is gathered backwards, from the contradiction to what it came of.
        trail: dict[Step, None] = {}
        for number, clause in reversed(core):
            if number >= 0 or (number == GUARD and len(clause) > 1):
                trail[tuple([meant(v) for v, _ in clause])] = None
        trails = self._of(facts)
        steps = tuple(trail)
        if steps not in trails:
            trails.insert(0, steps)
            del trails[MOST_TRAILS:]

    def _there(self, trail: tuple[Step, ...], things: Sequence[str]) -> list[list[int]] | None:
        """The variables of each step, for a goal whose variables are of these things; None if
        there is no such variable."""
        only = self._packed.only
        found = []
        for step in trail:
            variables = [
                meant if isinstance(meant, int) else only.get((meant[1], things[meant[0]]), -1)
                for meant in step
            ]
            if -1 in variables:
                return None
            found.append(variables)
        return found
