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

MOST_SPLITS = 60
"""Values tried one by one before an obligation is given up to the solver as it is."""

Core = dict[tuple[int, PackedClause], None]
"""Clauses that cannot be true together, each with its number, or GOAL or GUARD."""

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

    held: for each clause whether it was not struck out.
    shown: the clauses that were looked at: those asked for and those needed for them.
    failed: why some were struck out, as far as induction can tell.
    obligations: how many there were; shapes: the different ones among them.
    """

    held: list[bool]
    shown: set[int] = field(default_factory=set)
    failed: dict[int, Open] = field(default_factory=dict)
    obligations: int = 0
    shapes: set[Shape] = field(default_factory=set)
    answers: dict[Shape, str] = field(default_factory=dict)


class Prover:
    """Shows clauses of a packed machine by induction.

    solve: decides shapes; nothing is shown without its "unsat".
    thorough: whether an obligation for which no contradiction was found is given to
        the solver with everything near it, or is taken not to be shown.
    """

    def __init__(
        self,
        packed: Packed,
        solve: Solve,
        tell: Callable[[int, int], None],
        *,
        thorough: bool = False,
    ) -> None:
        self.thorough = thorough
        self.packed = packed
        self.solve = solve
        self.tell = tell
        self.alive = [True] * len(packed.clauses)
        self.by_variable: list[list[tuple[int, int]]] = [[] for _ in packed.full]
        for number, clause in enumerate(packed.clauses):
            for variable, mask in clause:
                self.by_variable[variable].append((mask, number))
        self.result = Induction(self.alive)

    def run(self, goals: Iterable[int]) -> Induction:
        """Show these clauses, and those that turn out to be needed for it."""
        todo = list(goals)
        demanded = set(todo)
        used_by: dict[int, set[int]] = defaultdict(set)
        while todo:
            waiting: dict[Shape, list[tuple[int, int]]] = defaultdict(list)
            further: dict[int, None] = {}
            lost: set[int] = set()
            for done, goal in enumerate(todo):
                if done % 256 == 0:
                    self.tell(done, len(todo))
                for event, shape, used in self._obligations(goal):
                    self.result.obligations += 1
                    if shape is None:
                        self._strike(goal, event, "not shown")
                        lost.add(goal)
                        break
                    waiting[shape].append((goal, event))
                    for clause in used:
                        if clause != goal:
                            used_by[clause].add(goal)
                            if clause not in demanded:
                                demanded.add(clause)
                                further[clause] = None
            lost |= self._lost(waiting)
            again = {g for clause in lost for g in used_by.pop(clause, ()) if self.alive[g]}
            todo = sorted(again.union(c for c in further if self.alive[c]))
        self.result.shown = demanded
        return self.result

    def _lost(self, waiting: dict[Shape, list[tuple[int, int]]]) -> set[int]:
        """Have the shapes solved and strike out the clauses that were not shown."""
        new = [shape for shape in waiting if shape not in self.result.answers]
        self.result.answers.update(zip(new, self.solve(new), strict=True))
        self.result.shapes.update(waiting)
        lost: set[int] = set()
        for shape, places in waiting.items():
            answer = self.result.answers[shape]
            if answer == "unsat":
                continue
            for goal, event in places:
                self._strike(goal, event, answer)
                lost.add(goal)
        return lost

    def _strike(self, goal: int, event: int, answer: str) -> None:
        self.alive[goal] = False
        self.result.failed.setdefault(goal, Open(goal, event, answer))

    # ------------------------------------------------------------- obligations

    def _obligations(self, goal: int) -> Iterator[tuple[int, Shape | None, set[int]]]:
        clause = self.packed.clauses[goal]
        start = [(v, self.packed.start[v]) for v, _ in clause]
        away = [(v, self.packed.full[v] & ~mask) for v, mask in clause]
        parts = [(lit,) for lit in (*start, *away)]
        yield -1, shape_of(parts, self.packed.full), set()
        for event in self._threats(clause):
            plain = self._plain(clause, event)
            if plain is not None:
                yield event.number, plain, set()
                continue
            core = self._core(goal, event)
            if core is None:
                yield event.number, None, set()
                continue
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

    def _plain(self, clause: PackedClause, event: PackedEvent) -> Shape | None:
        """The shape where the guard alone keeps the event from making a clause false."""
        for variable, mask in clause:
            allowed = event.units.get(variable)
            if allowed is not None:
                away = self.packed.full[variable] & ~before(event, variable, mask)
                if not allowed & away:
                    return shape_of([((variable, away),), ((variable, allowed),)], self.packed.full)
        return None

    def _core(self, goal: int, event: PackedEvent) -> list[tuple[int, PackedClause]] | None:
        """Clauses that cannot be true together, if they are found; else none, or if need
        be many. Each comes with its number, or GOAL or GUARD."""
        clause = self.packed.clauses[goal]
        # After the event the goal is false: each of its variables was elsewhere.
        facts: list[tuple[int, PackedClause]] = [
            (GOAL, ((v, self.packed.full[v] & ~before(event, v, mask)),)) for v, mask in clause
        ]
        facts += [(GUARD, ((v, mask),)) for v, mask in event.units.items()]
        more = [(GUARD, c) for c in event.guard]
        search = _Search(self, more, [v for v in event.units if self.packed.signal[v]])
        core = search.refute(facts)
        if core is not None or not self.thorough:
            return core
        return search.wide(facts)


class _Search:
    """Follows what known values rule out, until nothing is possible any more."""

    def __init__(
        self, prover: Prover, guard: list[tuple[int, PackedClause]], shown: list[int]
    ) -> None:
        self.shown = shown
        self.full = prover.packed.full
        self.held = prover.packed.held
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

    def _refute(self, facts: list[tuple[int, PackedClause]]) -> Core | None:
        queue: list[int] = []
        for number, clause in facts:
            variable, mask = clause[0]
            if not self._narrow(variable, mask, (number, clause)):
                return self._gather([variable], {})
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

    def _follow(self, queue: list[int]) -> Core | None:
        """Narrow further and further; the core of the first contradiction, if any."""
        domain, full, alive, clauses = self.domain, self.full, self.alive, self.clauses
        far: list[int] = []
        near = set(queue)
        position = 0
        while True:
            if position < len(queue):
                variable = queue[position]
                position += 1
            elif far:
                # What goal and event do not name is looked at only if need be.
                variable = far.pop()
            else:
                return None
            known = domain.get(variable, full[variable])
            for mask, number in self.by_variable[variable]:
                # Only a literal that has become false can tell anything new.
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
            for reason in self.reasons.get(variable, ()):
                if reason not in core:
                    core[reason] = None
                    stack += [v for v, _ in reason[1]]
        return core

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

    def wide(self, facts: list[tuple[int, PackedClause]]) -> list[tuple[int, PackedClause]]:
        """The facts and every clause near them, for the solver to make what it can of."""
        near = dict.fromkeys(v for _, c in (*facts, *self.guard) for v, _ in c)
        numbers = dict.fromkeys(n for v in near for _, n in self.by_variable[v] if self.alive[n])
        return [*facts, *self.guard, *((n, self.clauses[n]) for n in numbers)]
