"""What faults say about missing rules, and the smallest set of rules that meets it all."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

import z3

from bellcrank.layout.layout_model import Layout, Position
from bellcrank.machine.locking import Locking, Locks, Needs
from bellcrank.proof.repair.candidates import Candidate
from bellcrank.proof.standing.obligations import SENTENCES, ScriptWriter
from bellcrank.routes.route_model import RouteTable


class OutOfTimeError(Exception):
    """The time is over before the rules are known."""


@dataclass(frozen=True, slots=True)
class Lesson:
    """That one of some rules is missing, or that one of others must not be added."""

    add: frozenset[Candidate]
    leave: frozenset[Candidate] = frozenset()

    @property
    def sure(self) -> bool:
        """Whether it says of a rule that it is missing whatever else is."""
        return len(self.add) == 1 and not self.leave


def sure_rules(lessons: Iterable[Lesson]) -> frozenset[Candidate]:
    """The rules that are missing whatever else is."""
    return frozenset[Candidate]().union(*(lesson.add for lesson in lessons if lesson.sure))


def smallest(
    lessons: Iterable[Lesson], order: Mapping[Candidate, int]
) -> frozenset[Candidate] | None:
    """A smallest set of rules that meets all lessons, of all such the first by order.

    None if no set does.
    """
    lessons = list(lessons)
    sure = sure_rules(lessons)
    rest = [x for x in lessons if not x.add & sure]
    if not rest:
        return sure
    context = z3.Context()
    rules = sorted({r for x in rest for r in (*x.add, *x.leave)}, key=order.__getitem__)
    taken = {rule: z3.Bool(f"rule{order[rule]}", context) for rule in rules}
    solver = z3.SimpleSolver(ctx=context)
    solver.add(*(taken[rule] for rule in rules if rule in sure))
    for lesson in rest:
        met = [taken[r] for r in sorted(lesson.add, key=order.__getitem__)]
        met += [z3.Not(taken[r]) for r in sorted(lesson.leave, key=order.__getitem__)]
        solver.add(z3.Or(*met, z3.BoolVal(False, context)))
    if solver.check() != z3.sat:
        return None
    most = 0
    while True:
        solver.push()
        solver.add(z3.AtMost(*taken.values(), most))
        if solver.check() == z3.sat:
            break
        solver.pop()
        most += 1
    chosen = set(sure)
    for rule in rules:
        solver.push()
        solver.add(taken[rule])
        if solver.check() == z3.sat:
            chosen.add(rule)
        else:
            solver.pop()
            solver.add(z3.Not(taken[rule]))
    return frozenset(chosen)


class Standing:
    """Routes as they stand under some rules, with others to try beside them.

    left: the seconds that are left, None without a limit.
    beyond: what no rule keeps from being unsafe, in sentences; it is not looked into.
    wishes: routes that can stand together and must still be able to.
    denied: expectations, and routes, that the rules forbid as it is.
    """

    def __init__(
        self,
        layout: Layout,
        table: RouteTable,
        locking: Locking,
        tried: Sequence[Candidate],
        left: Callable[[], float | None],
    ) -> None:
        self.left = left
        script = ScriptWriter(layout, table, locking).whole()
        self.script = script
        self.solver = z3.SimpleSolver(ctx=z3.Context())
        self.solver.from_string(script.text)
        self.routes = {name: self.symbol(s) for name, s in script.routes.items()}
        self.denied: list[str] = []
        self.term: dict[Candidate, z3.BoolRef] = {}
        self.taken: dict[Candidate, z3.BoolRef] = {}
        for number, rule in enumerate(tried):
            if isinstance(rule, Locks):
                both = z3.And(self.routes[rule.first], self.routes[rule.second])
                self.term[rule] = z3.Not(both)
            elif isinstance(rule, Needs):
                lies = self.lies((rule.drive, rule.position))
                self.term[rule] = z3.Implies(self.routes[rule.route], lies)
            else:
                continue
            self.taken[rule] = self.symbol(f"tried{number}")
            self.solver.add(z3.Implies(self.taken[rule], self.term[rule]))
        unsafe = {SENTENCES[name]: self.symbol(s) for name, s in script.violations.items()}
        for e in locking.expectations:
            if e.never:
                unsafe[f"expect {e.text}"] = z3.And([self.routes[name] for name in e.routes])
        every = self.taken.values()
        self.beyond = [name for name, u in unsafe.items() if self.ask(*every, u) is not None]
        self.unsafe = z3.Or([u for name, u in unsafe.items() if name not in self.beyond])
        wishes = {f"expect {e.text}": e.routes for e in locking.expectations if not e.never}
        wishes |= {need.route: (need.route,) for need in locking.needs_set}
        self.wishes: list[tuple[str, ...]] = []
        for name, routes in wishes.items():
            if self.ask(*(self.routes[route] for route in routes)) is None:
                self.denied.append(name)
            else:
                self.wishes.append(routes)

    def symbol(self, name: str) -> z3.BoolRef:
        return z3.Bool(name, self.solver.ctx)

    def lies(self, position: Position) -> z3.BoolRef:
        term = self.script.positions[position]
        if term.startswith("(not "):
            return z3.Not(self.symbol(term[5:-1]))
        return self.symbol(term)

    def ask(self, *assumed: z3.BoolRef) -> z3.ModelRef | None:
        """A model in which terms are true, or None if there is none."""
        seconds = self.left()
        if seconds is not None:
            self.solver.set("timeout", max(1, int(seconds * 1000)))
        self.solver.push()
        self.solver.add(*assumed)
        answer = self.solver.check()
        model = self.solver.model() if answer == z3.sat else None
        self.solver.pop()
        if answer == z3.unknown:
            raise OutOfTimeError
        return model

    def lessons(self, rules: Collection[Candidate]) -> list[Lesson]:
        """What the unsafe sets say that can stand with these rules beside the others.

        Once an unsafe set has spoken, all rules are taken that keep it from standing,
        so that the next one says something else.
        """
        found = []
        self.solver.push()
        self.solver.add(self.unsafe, *(self.taken[r] for r in rules if r in self.taken))
        while (broken := self.broken()) is not None:
            found.append(Lesson(frozenset(broken)))
            self.solver.add(*(self.taken[r] for r in broken))
        self.solver.pop()
        return found

    def broken(self) -> list[Candidate] | None:
        """Rules that an unsafe set breaks, one that breaks no fewer of them."""
        broken: list[Candidate] | None = None
        self.solver.push()
        while model := self.ask():
            held = model
            broken = [r for r, term in self.term.items() if z3.is_false(held.eval(term, True))]
            kept = [self.taken[r] for r in self.term if r not in set(broken)]
            self.solver.add(*kept, z3.Or([self.taken[r] for r in broken]))
        self.solver.pop()
        return broken

    def forbidden(self, rules: Collection[Candidate]) -> list[Lesson]:
        """What is expected to be possible, and is not with these rules, says of them."""
        found = []
        taken = {r: self.taken[r] for r in rules if r in self.taken}
        for wish in self.wishes:
            self.left()
            wanted = [self.routes[name] for name in wish]
            if self.solver.check(*wanted, *taken.values()) == z3.unsat:
                core = {literal.decl().name() for literal in self.solver.unsat_core()}
                blamed = [r for r, t in taken.items() if t.decl().name() in core]
                found.append(Lesson(frozenset(), frozenset(blamed)))
        return found
