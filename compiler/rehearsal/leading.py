"""Which events lead from a state to one that has not happened yet.

A guess, made quickly: what has once been true is taken to stay true. That is the relaxed
plan of planners (J. Hoffmann and B. Nebel, "The FF planning system: fast plan generation
through heuristic search", 2001), so the events found are a way there only if none of them
undoes what another needs. Nothing here is relied on to be right; whoever follows the guess
sees how far it leads.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Container

from bellcrank.running.stepping import Stepper


class Leading:
    """A stepper's machine made ready to look ahead from the state that it is in.

    work: how many clauses and changes were looked at so far, which measures the time.
    """

    def __init__(self, stepper: Stepper) -> None:
        self.stepper = stepper
        self.work = 0
        variables = stepper.machine.variables.values()
        pairs = [(v.name, value) for v in variables for value in v.values]
        self._fact = {pair: number for number, pair in enumerate(pairs)}
        self._makes_true: list[list[int]] = [[] for _ in pairs]
        for number, clause in enumerate(stepper.clauses):
            literals = [(v, value) for v, values in clause for value in values]
            for fact in sorted({self._fact[pair] for pair in literals}):
                self._makes_true[fact].append(number)
        self._changes: list[list[tuple[int, int]]] = []
        self._changed_by: list[list[tuple[int, int]]] = [[] for _ in pairs]
        for number, event in enumerate(stepper.events):
            changes = [
                (self._fact[variable, before], self._fact[variable, to])
                for variable, becomes in event.updates.items()
                for before, to in becomes.items()
            ]
            self._changes.append(changes)
            for before, to in changes:
                self._changed_by[before].append((number, to))

    def towards(self, wanted: Container[int]) -> tuple[int, list[int]] | None:
        """The nearest event that is wanted, and the events that may lead to it, itself
        the last of them; None if none is reachable even so.

        Looks at facts, each that a variable has a value, in the order in which they can
        first be true, and keeps for each the event that made it so.
        """
        stepper = self.stepper
        made_by: dict[int, tuple[int, int] | None] = {
            self._fact[pair]: None for pair in stepper.state.items()
        }
        facts = deque(made_by)
        true_by: dict[int, int] = {}
        left = [len(stepper.guard(event)) for event in range(len(stepper.events))]
        ready = deque(event for event, clauses in enumerate(left) if not clauses)
        reached: dict[int, int] = {}
        while True:
            while ready:
                event = ready.popleft()
                reached[event] = len(reached)
                if event in wanted:
                    return event, self._plan(event, made_by, true_by, reached)
                self.work += len(self._changes[event])
                for before, to in self._changes[event]:
                    if before in made_by and to not in made_by:
                        made_by[to] = (event, before)
                        facts.append(to)
            if not facts:
                return None
            fact = facts.popleft()
            for clause in self._makes_true[fact]:
                if clause in true_by:
                    continue
                true_by[clause] = fact
                self.work += len(stepper.with_clause[clause])
                for event in stepper.with_clause[clause]:
                    left[event] -= 1
                    if not left[event]:
                        ready.append(event)
            for event, to in self._changed_by[fact]:
                if event in reached and to not in made_by:
                    made_by[to] = (event, fact)
                    facts.append(to)

    def _plan(
        self,
        target: int,
        made_by: dict[int, tuple[int, int] | None],
        true_by: dict[int, int],
        reached: dict[int, int],
    ) -> list[int]:
        """The events that the guard of one leans on, in the order they were reached."""
        events = {target}
        seen: set[int] = set()
        open_ = [target]
        while open_:
            for clause in self.stepper.guard(open_.pop()):
                fact = true_by[clause]
                while fact not in seen:
                    seen.add(fact)
                    made = made_by[fact]
                    if made is None:
                        break
                    event, fact = made
                    if event not in events:
                        events.add(event)
                        open_.append(event)
        return sorted(events, key=reached.__getitem__)
