"""What routes as they stand say of missing rules: unsafe sets, and wishes denied.

Rules to try are clauses behind a literal each, "this one is added", so that one solver
answers for every choice of them.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence

import z3

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.locking import Locking, Locks, Needs
from bellcrank.machine.wording import rule_text
from bellcrank.proof.repair.candidates import Candidate
from bellcrank.proof.repair.hitting_set import Lesson
from bellcrank.proof.repair.repair_model import Unmended
from bellcrank.proof.repair.time_left import OutOfTimeError
from bellcrank.proof.standing.locking_clauses import clause_of
from bellcrank.proof.standing.obligations import SENTENCES
from bellcrank.proof.standing.propositional import Declaration, Literal
from bellcrank.proof.standing.smt_script import Script, write_script
from bellcrank.proof.standing.z3_terms import Solver
from bellcrank.routes.route_model import RouteTable


class Standing:
    """Routes as they stand under some rules, with others to try beside them.

    left: the seconds that are left, None without a limit.
    beyond: what no rule keeps from being unsafe, with its sentence; it is not looked into.
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
        script = write_script(layout, table, locking)
        self.routes = script.routes
        self.asked = script.asked
        standing = [rule for rule in tried if isinstance(rule, Locks | Needs)]
        self.taken: dict[Candidate, Literal] = {
            rule: Literal(f"tried{number}") for number, rule in enumerate(standing)
        }
        clauses = {rule: clause_of(rule, script.variables) for rule in standing}
        for rule in standing:
            taken = self.taken[rule]
            script.formula.declarations.append(Declaration(taken.variable, rule_text(rule)))
            script.formula.clauses.append((~taken, *clauses[rule]))
        self.solver = Solver(script.formula.smt_text())
        self.term = {rule: self.solver.any_of(clause) for rule, clause in clauses.items()}
        for need in locking.needs_set:
            route = self.routes[need.route]
            if self.ask(self.solver.term(self.asked), self.solver.term(route)) is None:
                self.solver.z3.add(self.solver.term(~route))
        unsafe = self._unsafe(script, locking)
        every = [self.solver.term(taken) for taken in self.taken.values()]
        self.beyond = {
            name: _sentence(name) for name, u in unsafe.items() if self.ask(*every, u) is not None
        }
        self.unsafe = z3.Or([u for name, u in unsafe.items() if name not in self.beyond])
        self.denied: list[str] = []
        self.wishes: list[tuple[str, ...]] = []
        for name, routes in _wishes(locking).items():
            if self.ask(self.solver.term(self.asked), *self._set(routes)) is None:
                self.denied.append(name)
            else:
                self.wishes.append(routes)

    def open(self) -> Iterator[Unmended]:
        """What no rule keeps from being unsafe."""
        for name, sentence in self.beyond.items():
            yield Unmended(name, sentence, "no rule would help")

    def _unsafe(self, script: Script, locking: Locking) -> dict[str, z3.BoolRef]:
        """What must never be, by the name of what forbids it."""
        unsafe: dict[str, z3.BoolRef] = {
            name: self.solver.term(v) for name, v in script.violations.items()
        }
        for expectation in locking.expectations:
            if expectation.never:
                together = z3.And(self._set(expectation.routes))
                unsafe[expectation.name] = together
        return unsafe

    def _set(self, routes: Collection[str]) -> list[z3.BoolRef]:
        return [self.solver.term(self.routes[name]) for name in routes]

    def _added(self, rules: Collection[Candidate]) -> list[z3.BoolRef]:
        return [self.solver.term(self.taken[rule]) for rule in rules if rule in self.taken]

    def ask(self, *assumed: z3.BoolRef) -> z3.ModelRef | None:
        """A model in which terms are true, or None if there is none."""
        seconds = self.left()
        if seconds is not None:
            self.solver.z3.set("timeout", max(1, int(seconds * 1000)))
        self.solver.z3.push()
        self.solver.z3.add(*assumed)
        answer = self.solver.ask()
        model = self.solver.z3.model() if answer == "sat" else None
        self.solver.z3.pop()
        if answer == "unknown":
            raise OutOfTimeError
        return model

    def lessons(self, rules: Collection[Candidate]) -> list[Lesson]:
        """What the unsafe sets say that can stand with these rules beside the others.

        Once an unsafe set has spoken, all rules are taken that keep it from standing,
        so that the next one says something else.
        """
        found = []
        self.solver.z3.push()
        self.solver.z3.add(self.unsafe, *self._added(rules))
        while (broken := self.broken()) is not None:
            found.append(Lesson(frozenset(broken)))
            self.solver.z3.add(*self._added(broken))
        self.solver.z3.pop()
        return found

    def broken(self) -> list[Candidate] | None:
        """Rules that an unsafe set breaks, one that breaks no fewer of them.

        A model minimal in the rules it breaks, found by asking for ever smaller ones.
        """
        broken: list[Candidate] | None = None
        self.solver.z3.push()
        while model := self.ask():
            state = model
            broken = [r for r, term in self.term.items() if z3.is_false(state.eval(term, True))]
            lost = set(broken)
            kept = [rule for rule in self.term if rule not in lost]
            self.solver.z3.add(*self._added(kept), z3.Or(self._added(broken)))
        self.solver.z3.pop()
        return broken

    def forbidden(self, rules: Collection[Candidate]) -> list[Lesson]:
        """What is expected to be possible, and is not with these rules, says of them."""
        found = []
        taken = {self.taken[rule]: rule for rule in rules if rule in self.taken}
        for wish in self.wishes:
            self.left()
            set_ = [self.routes[name] for name in wish]
            core = self.solver.core([self.asked, *set_, *taken])
            if core is not None:
                blamed = frozenset(taken[literal] for literal in core if literal in taken)
                found.append(Lesson(frozenset(), blamed))
        return found


def _sentence(name: str) -> str:
    """What a property, or an expectation, says."""
    return {str(prop): sentence for prop, sentence in SENTENCES.items()}.get(name, name)


def _wishes(locking: Locking) -> Mapping[str, tuple[str, ...]]:
    """Routes that must be able to stand together, by what says so."""
    wishes = {e.name: e.routes for e in locking.expectations if not e.never}
    return wishes | {need.route: (need.route,) for need in locking.needs_set}
