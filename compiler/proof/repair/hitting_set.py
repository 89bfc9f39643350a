"""What counterexamples say of missing rules, and a minimum hitting set of that.

A counterexample, be it an unsafe set of routes or a run that goes wrong, yields a set of
rules of which one at least is missing; a repair has a rule from every such set. A smallest
repair is a minimum hitting set, as in R. Reiter, "A Theory of Diagnosis from First
Principles" (1987), where the sets are called conflict sets. Here one may also say that a
rule is too many, so that it is a clause over the rules that are added.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import z3

from bellcrank.machine.wording import rule_text
from bellcrank.proof.repair.candidates import Candidate
from bellcrank.proof.standing.propositional import Declaration, Formula, Literal
from bellcrank.proof.standing.z3_terms import Solver


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


def minimum_hitting_set(
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
    rules = sorted({r for x in rest for r in (*x.add, *x.leave)}, key=order.__getitem__)
    added = {rule: Literal(f"rule{order[rule]}") for rule in rules}
    formula = Formula([Declaration(added[rule].variable, rule_text(rule)) for rule in rules])
    formula.clauses += [(added[rule],) for rule in rules if rule in sure]
    for lesson in rest:
        add = [added[rule] for rule in rules if rule in lesson.add]
        formula.clauses.append((*add, *(~added[rule] for rule in rules if rule in lesson.leave)))
    solver = Solver(formula.smt_text())
    if solver.ask() != "sat":
        return None
    _allow_the_fewest(solver, added.values())
    return sure.union(_first(solver, added))


def _allow_the_fewest(solver: Solver, literals: Iterable[Literal]) -> None:
    """Let no more of some literals be true than must be."""
    terms = [solver.term(literal) for literal in literals]
    for most in range(len(terms) + 1):
        solver.z3.push()
        solver.z3.add(z3.AtMost(*terms, most))
        if solver.ask() == "sat":
            return
        solver.z3.pop()


def _first(solver: Solver, added: Mapping[Candidate, Literal]) -> Iterable[Candidate]:
    """Of the sets of rules that a solver allows the one with the first rules."""
    for rule, literal in added.items():
        if solver.ask(solver.term(literal)) == "sat":
            solver.z3.add(solver.term(literal))
            yield rule
        else:
            solver.z3.add(solver.term(~literal))
