"""Clauses that cannot be true together, found by unit propagation and case splitting.

Unit propagation is that of M. Davis, G. Logemann and D. Loveland, "A machine program for
theorem-proving", 1962: a clause of which all literals but one are false makes the one
true. Here a variable has any number of values, so what is known of it is the set of those
it may still have. Which clauses a contradiction came from is gathered backwards along the
reasons, as in the implication graph of a solver that learns clauses (J. P. Marques-Silva
and K. A. Sakallah, "GRASP", 1999). Where propagation tells nothing more, the values of a
variable are tried one by one.

What is found here is only a suggestion of which clauses to bring together: a solver
has the last word on every one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence

from bellcrank.proof.moving.clauses_in_play import ClausesInPlay
from bellcrank.running.lookup import ByVariable
from bellcrank.running.packed import Packed, PackedClause, PackedEvent, each_value

MOST_SPLITS = 60
"""Values tried one by one before an obligation is given up."""

GOAL = -1
GUARD = -2

Numbered = tuple[int, PackedClause]
"""A clause with its number, or GOAL or GUARD."""

Core = dict[Numbered, None]
"""Clauses that cannot be true together."""


NO_EVENT = PackedEvent(-1, (), (), ())


class AtEvent:
    """What all searches at one event share. Nothing that is told of it changes while they go on.

    event: None for any state whatever, of which nothing but the lemmas is known.
    units: the one-literal clauses of its guard, guard: the others.
    shown: the variables of `units` that say what a signal shows.
    """

    def __init__(self, packed: Packed, clauses: ClausesInPlay, event: PackedEvent | None) -> None:
        self.packed = packed
        self.clauses = clauses
        self.standing = clauses.standing
        if event is None:
            event = NO_EVENT
            self.standing = clauses.lemmas
        self.units: list[Numbered] = [(GUARD, (literal,)) for literal in event.conditions]
        self.guard: list[Numbered] = [(GUARD, clause) for clause in event.guard]
        self.guard_by_variable: ByVariable[int] = ByVariable(event.guard)
        self.shown = frozenset(v for v, _ in event.conditions if packed.signal[v])
        self._guard_over: dict[frozenset[int], list[Numbered]] | None = None

    def guard_over(self, variables: Iterable[int]) -> Sequence[Numbered]:
        """The longer clauses of its guard over just these variables."""
        if not self.guard:
            return ()
        if self._guard_over is None:
            self._guard_over = defaultdict(list)
            for numbered in self.guard:
                self._guard_over[frozenset([v for v, _ in numbered[1]])].append(numbered)
        return self._guard_over.get(frozenset(variables), ())


class _Cases:
    """How many values may still be tried one by one."""

    def __init__(self) -> None:
        self.left = MOST_SPLITS


class Propagation:
    """What is known of the variables before an event, and why.

    at: the event. base: what this branched off, whose reasons hold here as well.
    waiting: variables that were narrowed, and not yet asked what that leads to: a search
        that stays near leaves some.
    """

    def __init__(self, at: AtEvent, base: Propagation | None = None) -> None:
        self.at = at
        self.base = base
        self._domain: dict[int, int] = {} if base is None else dict(base._domain)
        self.named: set[int] = set() if base is None else set(base.named)
        self.waiting: dict[int, None] = {} if base is None else dict(base.waiting)
        # How each variable was narrowed: the clause, and the variables it looked at.
        self._reasons: dict[int, list[Numbered]] = defaultdict(list)

    def branch(self) -> Propagation:
        """Another that begins with all that is known here, and leaves this as it is."""
        return Propagation(self.at, self)

    def take(self, facts: Sequence[Numbered]) -> None:
        """Know these facts, each of one literal, without looking what they lead to. They
        are taken not to contradict each other."""
        self._assume(facts)

    def refute(self, facts: Sequence[Numbered]) -> Core | None:
        """Clauses, these facts among them, that cannot be true together; None if none are
        found, even by trying values one by one."""
        variables, core = self._assume(facts)
        return core or self._follow(variables) or self._split(_Cases())

    def refute_nearby(self, facts: Sequence[Numbered], farther: int = 0) -> Core | None:
        """The same, but only with clauses about variables that the facts name, and about so
        many of those that these lead to."""
        variables, core = self._assume(facts)
        return core or self._follow(variables, farther)

    def refute_along(self, facts: Sequence[Numbered], over: Iterable[Sequence[int]]) -> Core | None:
        """The same, but only with clauses and parts of the guard over just these variables, in
        this order."""
        _, core = self._assume(facts)
        if core is not None:
            return core
        clauses, standing = self.at.clauses.clauses, self.at.standing
        for variables in over:
            for number in self.at.clauses.over(variables):
                if standing[number]:
                    core = self._narrow((number, clauses[number]))
                    if core is not None:
                        return core
            for clause in self.at.guard_over(variables):
                core = self._narrow(clause)
                if core is not None:
                    return core
        return None

    def _narrow(self, numbered: Numbered) -> Core | None:
        """Narrow the one variable of a clause that it still leaves open, if it is one; the core
        if it leaves none."""
        domain = self._domain
        open_variable, open_mask = -1, 0
        for variable, mask in numbered[1]:
            if domain.get(variable, -1) & mask:
                if open_variable >= 0:
                    return None
                open_variable, open_mask = variable, mask
        if open_variable < 0:
            return self._gather([v for v, _ in numbered[1]], {numbered: None})
        known = domain.get(open_variable, self.at.packed.full[open_variable])
        if known & ~open_mask:
            domain[open_variable] = known & open_mask
            self._reasons[open_variable].append(numbered)
        return None

    def wide(self, facts: Sequence[Numbered]) -> Core:
        """The facts and every clause near them, for the solver to make what it can of."""
        clauses, guard = self.at.clauses, self.at.guard
        near = dict.fromkeys(v for _, c in (*facts, *guard) for v, _ in c)
        numbers = dict.fromkeys(
            number for v in near for number in clauses.naming(v) if self.at.standing[number]
        )
        return dict.fromkeys([*facts, *guard, *((n, clauses.clauses[n]) for n in numbers)])

    def _assume(self, facts: Iterable[Numbered]) -> tuple[list[int], Core | None]:
        """Take in facts, each of one literal: their variables, and the core if they
        contradict each other."""
        variables: list[int] = []
        for fact in facts:
            ((variable, mask),) = fact[1]
            self.named.add(variable)
            known = self._domain.get(variable, self.at.packed.full[variable])
            now = known & mask
            if now != known:
                self._domain[variable] = now
                self._reasons[variable].append(fact)
            if not now:
                return variables, self._gather([variable], {})
            variables.append(variable)
        return variables, None

    def _follow(self, queue: list[int], farther: int = -1) -> Core | None:
        """Narrow further and further; the core of the first contradiction, if any.

        What the facts name is near. What is far is asked first only what it tells of what
        is near: most contradictions are there, and a variable that many clauses name leads
        into every corner of a station. Only then does far lead farther.

        farther: at how many variables to look beside those in the queue; -1 for all.
        """
        domain, reasons, full = self._domain, self._reasons, self.at.packed.full
        in_play, guard = self.at.clauses, self.at.guard
        clauses, standing = in_play.clauses, self.at.standing
        # Nothing is looked at again before all that is new has been: it may be narrowed yet.
        first = dict.fromkeys(reversed(queue))
        far: dict[int, None] = dict(self.waiting) if farther < 0 else {}
        again: dict[int, None] = {}
        asked: dict[int, None] = {}
        near = self.named.union(queue)
        new = dict.fromkeys(reversed(queue))

        def put_off(other: int) -> None:
            if other not in near:
                far[other] = None
            elif other not in new:
                again[other] = None

        while True:
            of_near = False
            if first:
                variable, _ = first.popitem()
                of_near = True
            elif new:
                variable, _ = new.popitem()
            elif far and farther:
                farther -= 1
                variable, _ = far.popitem()
                asked[variable] = None
                of_near = True
            elif again:
                variable, _ = again.popitem()
            elif asked and farther:
                variable, _ = asked.popitem()
            else:
                if farther < 0:
                    self.waiting = {}
                else:
                    self.waiting |= far | asked
                return None
            known = domain.get(variable, full[variable])
            # Only a literal that has become false can tell anything new.
            if of_near:
                pairs, longer = in_play.falsified_with(variable, known, domain)
            else:
                pairs, longer = in_play.falsified(variable, known)
            for number, other, allowed in pairs:
                if not standing[number]:
                    continue
                now = domain.get(other, full[other])
                if now & ~allowed:
                    left = now & allowed
                    if not left:
                        core: Core = {(number, clauses[number]): None}
                        return self._gather([variable, other], core)
                    if of_near and other not in near:
                        continue
                    domain[other] = left
                    reasons[other].append((number, clauses[number]))
                    if other not in near:  # `put_off`, here where it is done most often
                        far[other] = None
                    elif other not in new:
                        again[other] = None
            for number in longer:
                if not standing[number]:
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
                    if of_near and open_variable not in near:
                        continue
                    now = domain.get(open_variable, full[open_variable])
                    if now & ~open_mask:
                        domain[open_variable] = now & open_mask
                        reasons[open_variable].append((number, clause))
                        put_off(open_variable)
            for i in self.at.guard_by_variable.naming(variable):
                number, clause = guard[i]
                still = [(v, m) for v, m in clause if domain.get(v, -1) & m]
                if not still:
                    return self._gather([v for v, _ in clause], {(number, clause): None})
                if len(still) == 1:
                    other, allowed = still[0]
                    if of_near and other not in near:
                        continue
                    now = domain.get(other, full[other])
                    if now & ~allowed:
                        domain[other] = now & allowed
                        reasons[other].append((number, clause))
                        put_off(other)

    def _gather(self, variables: Iterable[int], core: Core) -> Core:
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

    def _reasons_for(self, variable: int) -> Iterator[Numbered]:
        known: Propagation | None = self
        while known is not None:
            yield from known._reasons.get(variable, ())
            known = known.base

    def _split(self, cases: _Cases) -> Core | None:
        """Try each value that a variable may still have; each must be contradictory."""
        packed, shown = self.at.packed, self.at.shown
        full, held, start = packed.full, packed.held, packed.start
        best, fewest, telling = -1, MOST_SPLITS + 1, (0, False)
        tells: tuple[int, bool]
        for variable, known in self._domain.items():
            count = known.bit_count()
            if not 1 < count < full[variable].bit_count():
                continue
            # What a signal that is passed shows, and which route holds a section, tells
            # more than anything else, most of all if it is known that one does; and what
            # is near tells more than what is far.
            tells = (
                3 if variable in shown else held[variable] and 2 - bool(known & start[variable]),
                variable in self.named,
            )
            if (*tells, -count) > (*telling, -fewest):
                best, fewest, telling = variable, count, tells
        if best < 0 or fewest > cases.left:
            return None
        cases.left -= fewest
        core: Core = {}
        for value in each_value(self._domain[best]):
            case = self.branch()
            case._domain[best] = value
            found = case._follow([best]) or case._split(cases)
            if found is None:
                return None
            core |= found
        return self._gather([best], core)
