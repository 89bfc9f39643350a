"""Whether routes as they stand are safe without some of the rules.

Each rule is a clause behind a literal of its own, "it is in force", which is assumed or not,
so that one solver answers for every choice of them, and keeps what it has learnt.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

import z3

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.locking import Locking, Locks, Needs
from bellcrank.proof.repair.standing_lessons import OutOfTimeError
from bellcrank.proof.standing.locking_clauses import clause_of
from bellcrank.proof.standing.propositional import Declaration, Literal
from bellcrank.proof.standing.smt_script import write_script
from bellcrank.proof.standing.z3_terms import Solver
from bellcrank.routes.route_model import RouteTable


class StandingWithout:
    """units: of each the numbers of its rules, those of `locks` first and then of `needs`.
    never_set: routes that the rules never let be set."""

    def __init__(
        self,
        layout: Layout,
        table: RouteTable,
        locking: Locking,
        units: Sequence[Collection[int]],
        never_set: Collection[str],
        deadline: float | None,
    ) -> None:
        rules: tuple[Locks | Needs, ...] = (*locking.locks, *locking.needs)
        script = write_script(layout, table, replace(locking, locks=(), needs=()))
        formula = script.formula
        self.units = units
        self.removable = frozenset[int]().union(*units)
        literals = [Literal(f"rule{number}") for number in range(len(rules))]
        for rule, literal in zip(rules, literals, strict=True):
            formula.declarations.append(Declaration(literal.variable, "a rule is in force"))
            formula.clauses.append((~literal, *clause_of(rule, script.variables)))
        self.solver = Solver(formula, deadline)
        self.terms = [self.solver.term(literal) for literal in literals]
        unsafe = [self.solver.term(violated) for violated in script.violations.values()]
        for expectation in locking.expectations:
            if expectation.never:
                both = [self.solver.term(script.routes[name]) for name in expectation.routes]
                unsafe.append(z3.And(both))
        self.solver.z3.add(z3.Or(unsafe))
        self.solver.z3.add(*map(self.solver.term, script.unset(never_set)))
        # Derived rules stay in force.
        self.solver.z3.add(*(t for n, t in enumerate(self.terms) if n not in self.removable))

    def safe_without(self, units: Collection[int]) -> bool:
        """Whether nothing unsafe can stand without some units, as long as no route can be
        set that could not before."""
        gone = frozenset[int]().union(*(self.units[unit] for unit in units))
        kept = [t for n, t in enumerate(self.terms) if n in self.removable and n not in gone]
        answer = self.solver.ask(*kept)
        if answer == "unknown":
            raise OutOfTimeError
        return answer == "unsat"
