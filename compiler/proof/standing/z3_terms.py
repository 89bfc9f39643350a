"""Propositional formulas as z3 has them, and z3 asked about them."""

from __future__ import annotations

import time
from collections.abc import Iterable
from typing import Literal as OneOf

import z3

from bellcrank.proof.standing.propositional import Clause, Conjunction, Literal

Answer = OneOf["sat", "unsat", "unknown"]


class Solver:
    """z3 with a formula, and a time by which it must answer.

    text: the formula in SMT-LIB 2.
    deadline: by the monotonic clock; None for none.
    context: z3's, in which terms are made; None for one of its own. To make one takes
        longer than most formulas take to decide, so where many follow each other they
        share one.
    """

    def __init__(
        self,
        text: str,
        deadline: float | None = None,
        context: z3.Context | None = None,
    ) -> None:
        self.deadline = deadline
        self.z3 = z3.SimpleSolver(ctx=context or z3.Context())
        self.z3.from_string(text)

    def ask(self, *assumed: z3.BoolRef) -> Answer:
        """Whether what it knows can be true, with some terms beside it."""
        if self.deadline is not None:
            left = int((self.deadline - time.monotonic()) * 1000)
            if left <= 0:
                return "unknown"
            self.z3.set("timeout", left)
        answer = self.z3.check(*assumed)
        return "sat" if answer == z3.sat else "unsat" if answer == z3.unsat else "unknown"

    def term(self, literal: Literal) -> z3.BoolRef:
        """A literal as a term."""
        variable = z3.Bool(literal.variable, self.z3.ctx)
        return variable if literal.positive else z3.Not(variable)

    def any_of(self, clause: Clause) -> z3.BoolRef:
        """A clause as a term."""
        return z3.Or([z3.BoolVal(False, self.z3.ctx), *map(self.term, clause)])

    def all_of(self, literals: Conjunction) -> z3.BoolRef:
        """A conjunction as a term."""
        return z3.And([z3.BoolVal(True, self.z3.ctx), *map(self.term, literals)])

    def core(self, assumed: Iterable[Literal]) -> list[Literal] | None:
        """Of literals that cannot be true together some that cannot either; None if they
        can, or there is no answer."""
        asked = list(assumed)
        if self.ask(*map(self.term, asked)) != "unsat":
            return None
        named = {literal.decl().name() for literal in self.z3.unsat_core()}
        return [literal for literal in asked if literal.variable in named]


def is_true(literal: Literal, model: z3.ModelRef) -> bool:
    """Whether a literal is true in a model; a variable it leaves open counts as false."""
    value = model.eval(z3.Bool(literal.variable, model.ctx), model_completion=True)
    return bool(z3.is_true(value)) == literal.positive
