"""Propositional formulas as values, and their text in SMT-LIB 2.6.

A formula is a set of clauses (conjunctive normal form) with definitions beside them.
Nobody takes its text apart: what a formula says is read off the values, and the text
is made from them at the end, for the solver and for files. Only core Booleans are
used (logic QF_UF), so a plain SAT solver will do as well.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple


class Literal(NamedTuple):
    """A variable, or its negation."""

    variable: str
    positive: bool = True

    def __invert__(self) -> Literal:
        return Literal(self.variable, not self.positive)


Clause = tuple[Literal, ...]
"""True if any of its literals is; without literals it is false."""

Conjunction = tuple[Literal, ...]
"""True if all of its literals are."""


class Declaration(NamedTuple):
    """A variable and, for people, what it means that it is true."""

    variable: str
    meaning: str


class Definition(NamedTuple):
    """A variable that is true exactly if any of some conjunctions is."""

    variable: str
    cases: tuple[Conjunction, ...]


@dataclass(slots=True)
class Formula:
    """Clauses that are to be true together.

    declarations: the variables that no definition defines.
    definitions: in an order in which each names only variables defined before it.
    """

    declarations: list[Declaration] = field(default_factory=list)
    clauses: list[Clause] = field(default_factory=list)
    definitions: list[Definition] = field(default_factory=list)

    def smt_text(self, assumed: Iterable[Literal] = ()) -> str:
        """The formula as SMT-LIB 2.6 without any check-sat, some literals being true."""
        return "\n".join(self._lines(assumed)) + "\n"

    def _lines(self, assumed: Iterable[Literal]) -> Iterator[str]:
        yield "(set-info :smt-lib-version 2.6)"
        yield "(set-logic QF_UF)"
        for variable, meaning in self.declarations:
            yield f"(declare-const {variable} Bool) ; {_ascii(meaning)}"
        for clause in self.clauses:
            yield f"(assert {_any(_terms(clause))})"
        for variable, cases in self.definitions:
            yield f"(declare-const {variable} Bool)"
            yield f"(assert (= {variable} {_any([_all(_terms(case)) for case in cases])}))"
        for term in _terms(assumed):
            yield f"(assert {term})"


def exactly_one(literals: Sequence[Literal]) -> Iterator[Clause]:
    """That one of some literals is true and no more (the pairwise encoding)."""
    yield tuple(literals)
    for index, one in enumerate(literals):
        for other in literals[index + 1 :]:
            yield (~one, ~other)


def two_of(literals: Sequence[Literal], prefix: str) -> tuple[list[Definition], list[Conjunction]]:
    """Cases of which one is true if at least two of some literals are, and what these
    need to be defined, as variables that begin with a prefix.

    The count runs along a chain, "one of the first k is true", so that it grows with
    the literals and not with their square: the sequential counter of C. Sinz, "Towards
    an Optimal CNF Encoding of Boolean Cardinality Constraints" (2005), for a count of 1.
    """
    definitions: list[Definition] = []
    cases: list[Conjunction] = []
    seen = literals[0]
    for number, literal in enumerate(literals[1:], start=1):
        cases.append((seen, literal))
        if number + 1 < len(literals):
            definitions.append(Definition(f"{prefix}_{number}", ((seen,), (literal,))))
            seen = Literal(f"{prefix}_{number}")
    return definitions, cases


def _terms(literals: Iterable[Literal]) -> list[str]:
    return [name if positive else f"(not {name})" for name, positive in literals]


def _any(terms: Sequence[str]) -> str:
    if len(terms) < 2:
        return terms[0] if terms else "false"
    return f"(or {' '.join(terms)})"


def _all(terms: Sequence[str]) -> str:
    if len(terms) < 2:
        return terms[0] if terms else "true"
    return f"(and {' '.join(terms)})"


def _ascii(text: str) -> str:
    return text.encode("ascii", "backslashreplace").decode("ascii")
