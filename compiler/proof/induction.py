"""Proof by induction: one event and one clause at a time.

A clause holds in every state that can come about if it holds at the start, and no
event makes it false in a state in which all clauses hold. For each clause and
each event that could make it false, that is one obligation: the guard, some other
clauses, and the clause being false afterwards cannot be true together. Which
other clauses to bring in is found by following what each known value rules out;
a bad choice could only make an obligation unprovable, never wrong.

An obligation names few variables, so there are few of them up to renaming. Each
of these shapes is given to a solver once. A clause whose obligation fails is
struck out, and everything that was shown with its help is shown again without.

An event that moves no variable of a clause out of the values that the clause
names cannot make it false, and makes no obligation.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from bellcrank.proof.packed import Packed, PackedClause, PackedEvent, before
from bellcrank.proof.shapes import Shape, shape_of

GOAL = -1
GUARD = -2

MOST_SPLITS = 40
"""Values tried one by one before an obligation is given up to the solver as it is."""

Solve = Callable[[Sequence[Shape]], Sequence[str]]
"""A solver: "unsat", "sat" or "unknown" for each shape."""


@dataclass(frozen=True, slots=True)
class Open:
    """An obligation that was not shown: an event, -1 for the start, and a clause."""

    clause: int
    event: int
    answer: str


@dataclass(slots=True)
class Induction:
    """What was shown.

    held: for each clause whether it holds in every state.
    failed: why others do not, as far as induction can tell.
    """

    held: list[bool]
    failed: dict[int, Open] = field(default_factory=dict)
    obligations: int = 0
    shapes: set[Shape] = field(default_factory=set)


class _Conflict(Exception):
    """Values ruled out each other; `used` are the clauses that it took."""

    def __init__(self, used: set[PackedClause]) -> None:
        self.used = used


class Prover:
    """Shows clauses of a packed machine by induction.

    solve: decides shapes; nothing is shown without its "unsat".
    """

    def __init__(self, packed: Packed, solve: Solve, tell: Callable[[int, int], None]) -> None:
        self.packed = packed
        self.solve = solve
        self.tell = tell
        self.alive = [True] * len(packed.clauses)
        self.by_variable: list[list[int]] = [[] for _ in packed.full]
        for number, clause in enumerate(packed.clauses):
            for variable, _ in clause:
                self.by_variable[variable].append(number)
        self.answers: dict[Shape, str] = {}
        self.result = Induction(self.alive)

    def run(self, goals: Iterable[int] | None = None) -> Induction:
        """Show as many clauses as can be shown together."""
        todo = list(range(len(self.packed.clauses)) if goals is None else goals)
        used_by: dict[int, set[int]] = defaultdict(set)
        while todo:
            waiting: dict[Shape, list[tuple[int, int]]] = defaultdict(list)
            for done, goal in enumerate(todo):
                if not self.alive[goal]:
                    continue
                if done % 512 == 0:
                    self.tell(done, len(todo))
                for event, shape, used in self._obligations(goal):
                    self.result.obligations += 1
                    waiting[shape].append((goal, event))
                    for clause in used:
                        if clause != goal:
                            used_by[clause].add(goal)
            new = [shape for shape in waiting if shape not in self.answers]
            self.answers.update(zip(new, self.solve(new), strict=True))
            self.result.shapes.update(waiting)
            lost: set[int] = set()
            for shape, places in waiting.items():
                answer = self.answers[shape]
                if answer != "unsat":
                    for goal, event in places:
                        if self.alive[goal] or goal in lost:
                            self.alive[goal] = False
                            lost.add(goal)
                            self.result.failed.setdefault(goal, Open(goal, event, answer))
            todo = sorted({g for clause in lost for g in used_by.pop(clause, ()) if self.alive[g]})
        return self.result

    # ------------------------------------------------------------- obligations

    def _obligations(self, goal: int) -> Iterator[tuple[int, Shape, set[int]]]:
        clause = self.packed.clauses[goal]
        start = [(v, self.packed.start[v]) for v, _ in clause]
        away = [(v, self.packed.full[v] & ~mask) for v, mask in clause]
        parts = [(lit,) for lit in (*start, *away)]
        yield -1, shape_of(parts, self.packed.full), set()
        for event in self._threats(clause):
            core = self._core(goal, event)
            numbers = {n for n, _ in core if n >= 0}
            parts = [c for _, c in core]
            yield event.number, shape_of(parts, self.packed.full), numbers

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

    def _core(self, goal: int, event: PackedEvent) -> list[tuple[int, PackedClause]]:
        """Clauses that cannot be true together, if they are found; else many that
        might. Each comes with its number, or GOAL or GUARD."""
        clause = self.packed.clauses[goal]
        # After the event the goal is false: each of its variables was elsewhere.
        facts: list[tuple[int, PackedClause]] = [
            (GOAL, ((v, self.packed.full[v] & ~before(event, v, mask)),)) for v, mask in clause
        ]
        facts += [(GUARD, ((v, mask),)) for v, mask in event.units.items()]
        more = [(GUARD, c) for c in event.guard]
        search = _Search(self, more)
        core = search.refute(facts)
        if core is not None:
            return core
        return search.wide(facts)


class _Search:
    """Follows what known values rule out, until nothing is possible any more."""

    def __init__(self, prover: Prover, guard: list[tuple[int, PackedClause]]) -> None:
        self.full = prover.packed.full
        self.clauses = prover.packed.clauses
        self.by_variable = prover.by_variable
        self.alive = prover.alive
        self.guard = guard
        self.guard_by_variable: dict[int, list[int]] = defaultdict(list)
        for i, (_, clause) in enumerate(guard):
            for variable, _ in clause:
                self.guard_by_variable[variable].append(i)
        self.domain: dict[int, int] = {}
        # How each variable was narrowed: the clause, and the variables it looked at.
        self.reasons: dict[int, list[tuple[int, PackedClause]]] = defaultdict(list)
        self.splits = 0

    def refute(
        self, facts: list[tuple[int, PackedClause]]
    ) -> list[tuple[int, PackedClause]] | None:
        """A set of clauses, these facts among them, that cannot be true together."""
        core = self._refute(facts)
        return None if core is None else list(core)

    def _refute(
        self, facts: list[tuple[int, PackedClause]]
    ) -> dict[tuple[int, PackedClause], None] | None:
        queue: list[int] = []
        for number, clause in facts:
            variable, mask = clause[0]
            if not self._narrow(variable, mask, (number, clause)):
                return self._explain(variable, ())
            queue.append(variable)
        conflict = self._follow(queue)
        if conflict is not None:
            return conflict
        return self._split()

    def _narrow(self, variable: int, mask: int, reason: tuple[int, PackedClause]) -> bool:
        known = self.domain.get(variable, self.full[variable])
        now = known & mask
        if now != known:
            self.domain[variable] = now
            self.reasons[variable].append(reason)
        return bool(now)

    def _follow(self, queue: list[int]) -> dict[tuple[int, PackedClause], None] | None:
        domain, full = self.domain, self.full
        position = 0
        while position < len(queue):
            variable = queue[position]
            position += 1
            for number in self.by_variable[variable]:
                if not self.alive[number]:
                    continue
                clause = self.clauses[number]
                found = self._look(number, clause, domain, full, queue)
                if found is not None:
                    return found
            for i in self.guard_by_variable.get(variable, ()):
                number, clause = self.guard[i]
                found = self._look(number, clause, domain, full, queue)
                if found is not None:
                    return found
        return None

    def _look(
        self,
        number: int,
        clause: PackedClause,
        domain: dict[int, int],
        full: list[int],
        queue: list[int],
    ) -> dict[tuple[int, PackedClause], None] | None:
        open_variable, open_mask = -1, 0
        for variable, mask in clause:
            known = domain.get(variable)
            if known is None:
                if open_variable >= 0:
                    return None
                open_variable, open_mask = variable, mask
            elif known & mask:
                if not known & ~mask:
                    return None
                if open_variable >= 0:
                    return None
                open_variable, open_mask = variable, mask
        if open_variable < 0:
            return self._explain_clause(number, clause)
        known = domain.get(open_variable, full[open_variable])
        now = known & open_mask
        if now != known:
            domain[open_variable] = now
            self.reasons[open_variable].append((number, clause))
            queue.append(open_variable)
        return None

    def _explain_clause(
        self, number: int, clause: PackedClause
    ) -> dict[tuple[int, PackedClause], None]:
        core: dict[tuple[int, PackedClause], None] = {(number, clause): None}
        return self._gather([v for v, _ in clause], core)

    def _explain(self, variable: int, extra: Sequence[int]) -> dict[tuple[int, PackedClause], None]:
        return self._gather([variable, *extra], {})

    def _gather(
        self, variables: list[int], core: dict[tuple[int, PackedClause], None]
    ) -> dict[tuple[int, PackedClause], None]:
        done: set[int] = set()
        stack = list(variables)
        while stack:
            variable = stack.pop()
            if variable in done:
                continue
            done.add(variable)
            for reason in self.reasons.get(variable, ()):
                if reason not in core:
                    core[reason] = None
                    stack += [v for v, _ in reason[1]]
        return core

    def _split(self) -> dict[tuple[int, PackedClause], None] | None:
        """Try each value that a variable may still have; all must come to nothing."""
        best, fewest = -1, 99
        for variable, known in self.domain.items():
            count = known.bit_count()
            if 1 < count < fewest and count < self.full[variable].bit_count():
                best, fewest = variable, count
        if best < 0 or self.splits + fewest > MOST_SPLITS:
            return None
        self.splits += fewest
        core: dict[tuple[int, PackedClause], None] = {}
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

    def wide(self, facts: list[tuple[int, PackedClause]]) -> list[tuple[int, PackedClause]]:
        """The facts and every clause near them, for the solver to make what it can of."""
        near = dict.fromkeys(v for _, c in (*facts, *self.guard) for v, _ in c)
        numbers = dict.fromkeys(n for v in near for n in self.by_variable[v] if self.alive[n])
        return [*facts, *self.guard, *((n, self.clauses[n]) for n in numbers)]
