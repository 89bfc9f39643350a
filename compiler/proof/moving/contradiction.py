"""Contradictions among clauses, found by following what known values rule out.

What is found here is only a suggestion of which clauses to bring together: a solver
has the last word on every one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

from bellcrank.proof.moving.clause_index import Index
from bellcrank.running.packed import Packed, PackedClause

MOST_SPLITS = 60
"""Values tried one by one before an obligation is given up."""

Core = dict[tuple[int, PackedClause], None]
"""Clauses that cannot be true together, each with its number, or GOAL or GUARD."""


class Contradiction:
    """Follows what known values rule out, until nothing is possible any more.

    guard: clauses of an event with more than one literal. shown: the variables among
    its one-literal clauses that say what a signal shows.
    """

    base: Contradiction | None = None

    def __init__(
        self,
        packed: Packed,
        index: Index,
        alive: Sequence[bool],
        guard: list[tuple[int, PackedClause]],
        shown: list[int],
    ) -> None:
        self.shown = shown
        self.full = packed.full
        self.held = packed.held
        self.clauses = packed.clauses
        self.index = index
        self.alive = alive
        self.guard = guard
        self.guard_by_variable: dict[int, list[int]] = defaultdict(list)
        for i, (_, clause) in enumerate(guard):
            for variable, _ in clause:
                self.guard_by_variable[variable].append(i)
        self.domain: dict[int, int] = {}
        # How each variable was narrowed: the clause, and the variables it looked at.
        self.reasons: dict[int, list[tuple[int, PackedClause]]] = defaultdict(list)
        self.splits = 0

    def beginning(self) -> Contradiction:
        """Another that begins with all that is known here."""
        other = object.__new__(Contradiction)
        other.shown, other.full, other.held = self.shown, self.full, self.held
        other.clauses, other.alive = self.clauses, self.alive
        other.index = self.index
        other.guard, other.guard_by_variable = self.guard, self.guard_by_variable
        other.domain = dict(self.domain)
        other.reasons = defaultdict(list)
        other.splits = 0
        other.base = self
        return other

    def refute(self, facts: list[tuple[int, PackedClause]], *, split: bool = True) -> Core | None:
        """Clauses, these facts among them, that cannot be true together; None if none
        are found.

        split: whether to try values one by one where nothing else tells more.
        """
        queue: list[int] = []
        for number, clause in facts:
            variable, mask = clause[0]
            if not self._narrow(variable, mask, (number, clause)):
                return self._gather([variable], {})
            queue.append(variable)
        if not split:
            return self._follow(queue, farther=False)
        return self._follow(queue) or self._split()

    def _narrow(self, variable: int, mask: int, reason: tuple[int, PackedClause]) -> bool:
        known = self.domain.get(variable, self.full[variable])
        now = known & mask
        if now != known:
            self.domain[variable] = now
            self.reasons[variable].append(reason)
        return bool(now)

    def _follow(self, queue: list[int], *, farther: bool = True) -> Core | None:
        """Narrow further and further; the core of the first contradiction, if any.

        farther: whether to look at variables beside those in the queue.
        """
        domain, full, alive, clauses = self.domain, self.full, self.alive, self.clauses
        far: list[int] = []
        near = set(queue)
        position = 0
        while True:
            if position < len(queue):
                variable = queue[position]
                position += 1
            elif far and farther:
                # What goal and event do not name is looked at only if need be.
                variable = far.pop()
            else:
                return None
            known = domain.get(variable, full[variable])
            pairs, longer = self.index.near(variable)
            # Only a literal that has become false can tell anything new.
            for mask, number, other, allowed in pairs:
                if mask & known or not alive[number]:
                    continue
                now = domain.get(other, full[other])
                if now & ~allowed:
                    left = now & allowed
                    if not left:
                        core: Core = {(number, clauses[number]): None}
                        return self._gather([variable, other], core)
                    domain[other] = left
                    self.reasons[other].append((number, clauses[number]))
                    (queue if other in near else far).append(other)
            for mask, number in longer:
                if mask & known or not alive[number]:
                    continue
                clause = clauses[number]
                open_variable, open_mask = -1, 0
                for other, allowed in clause:
                    if domain.get(other, -1) & allowed:
                        if open_variable >= 0:
                            break
                        open_variable, open_mask = other, allowed
                else:
                    if open_variable < 0:
                        return self._gather([v for v, _ in clause], {(number, clause): None})
                    now = domain.get(open_variable, full[open_variable])
                    if now & ~open_mask:
                        domain[open_variable] = now & open_mask
                        self.reasons[open_variable].append((number, clause))
                        (queue if open_variable in near else far).append(open_variable)
            for i in self.guard_by_variable.get(variable, ()):
                number, clause = self.guard[i]
                still = [(v, m) for v, m in clause if domain.get(v, -1) & m]
                if not still:
                    return self._gather([v for v, _ in clause], {(number, clause): None})
                if len(still) == 1:
                    other, allowed = still[0]
                    now = domain.get(other, full[other])
                    if now & ~allowed:
                        domain[other] = now & allowed
                        self.reasons[other].append((number, clause))
                        (queue if other in near else far).append(other)

    def _gather(self, variables: list[int], core: Core) -> Core:
        done: set[int] = set()
        stack = list(variables)
        while stack:
            variable = stack.pop()
            if variable in done:
                continue
            done.add(variable)
            for reason in self._reasons_for(variable):
                if reason not in core:
                    core[reason] = None
                    stack += [v for v, _ in reason[1]]
        return core

    def _reasons_for(self, variable: int) -> Iterator[tuple[int, PackedClause]]:
        yield from self.reasons.get(variable, ())
        if self.base is not None:
            yield from self.base.reasons.get(variable, ())

    def _split(self) -> Core | None:
        """Try each value that a variable may still have; all must come to nothing."""
        best, fewest, telling = -1, MOST_SPLITS + 1, 0
        for variable, known in self.domain.items():
            count = known.bit_count()
            if not 1 < count < self.full[variable].bit_count():
                continue
            # What a signal that is passed shows, and which route holds a section, tells
            # more than anything else.
            tells = 2 if variable in self.shown else self.held[variable]
            if (tells, -count) > (telling, -fewest):
                best, fewest, telling = variable, count, tells
        if best < 0 or self.splits + fewest > MOST_SPLITS:
            return None
        self.splits += fewest
        core: Core = {}
        known = self.domain[best]
        domain, reasons = dict(self.domain), {v: list(r) for v, r in self.reasons.items()}
        rest = known
        while rest:
            value = rest & -rest
            rest ^= value
            self.domain = {**domain, best: value}
            self.reasons = defaultdict(list, {v: list(r) for v, r in reasons.items()})
            found = self._follow([best]) or self._split()
            if found is None:
                self.domain = domain
                return None
            core |= found
        self.domain = domain
        self.reasons = defaultdict(list, reasons)
        return self._gather([best], core)

    def wide(self, facts: list[tuple[int, PackedClause]]) -> Core:
        """The facts and every clause near them, for the solver to make what it can of."""
        near = dict.fromkeys(v for _, c in (*facts, *self.guard) for v, _ in c)
        numbers = dict.fromkeys(
            number for v in near for number in self.index.naming(v) if self.alive[number]
        )
        return dict.fromkeys([*facts, *self.guard, *((n, self.clauses[n]) for n in numbers)])
