"""An SMT solver and a SAT solver that decide an obligation script without z3.

cvc5 reads the script with its own SMT-LIB 2.6 parser. For the SAT solver the
script is read here: the Boolean commands of logic QF_UF, made into clauses
with one variable for each connective (Tseitin's translation).
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import cvc5
from pysat.solvers import Solver as SatSolver

Expression = str | list["Expression"]


def cvc5_says(script: str) -> str:
    """The answer of cvc5: "sat", "unsat" or whatever else it prints."""
    terms = cvc5.TermManager()
    solver = cvc5.Solver(terms)
    symbols = cvc5.SymbolManager(terms)
    parser = cvc5.InputParser(solver, symbols)
    parser.setStringInput(cvc5.InputLanguage.SMT_LIB_2_6, script, "obligation")
    printed = ""
    while not (command := parser.nextCommand()).isNull():
        printed += command.invoke(solver, symbols)
    return printed.strip()


def sat_solver_says(script: str) -> str:
    """The answer of a plain SAT solver: "sat" or "unsat"."""
    reader = _Reader()
    for command in expressions(script):
        reader.command(command)
    assert reader.asked == 1, "a script asks once"
    with SatSolver(name="cadical153", bootstrap_with=reader.clauses) as solver:
        return "sat" if solver.solve() else "unsat"


def expressions(script: str) -> Iterator[list[Expression]]:
    """The commands of a script as nested lists of words."""
    stack: list[list[Expression]] = [[]]
    for word in re.findall(r";[^\n]*|[()]|[^\s();]+", script):
        if word.startswith(";"):
            continue
        if word == "(":
            stack.append([])
        elif word == ")":
            done = stack.pop()
            if len(stack) == 1:
                yield done
            else:
                stack[-1].append(done)
        else:
            assert len(stack) > 1, f"a word outside a command: {word}"
            stack[-1].append(word)
    assert len(stack) == 1, "a bracket is not closed"


class _Reader:
    """Turns commands into clauses; refuses any command it does not know."""

    def __init__(self) -> None:
        self.clauses: list[list[int]] = [[1]]
        self.literals: dict[str, int] = {"true": 1, "false": -1}
        self.last = 1
        self.asked = 0

    def new(self) -> int:
        self.last += 1
        return self.last

    def command(self, command: list[Expression]) -> None:
        match command:
            case ["set-info", *_] | ["set-logic", "QF_UF"]:
                pass
            case ["declare-const", str(name), "Bool"]:
                assert name not in self.literals, f"{name} is declared twice"
                self.literals[name] = self.new()
            case ["define-fun", str(name), [], "Bool", body]:
                assert name not in self.literals, f"{name} is declared twice"
                self.literals[name] = self.literal(body)
            case ["assert", body]:
                self.clauses.append([self.literal(body)])
            case ["check-sat"]:
                self.asked += 1
            case _:
                raise AssertionError(f"unknown command {command}")

    def literal(self, term: Expression) -> int:
        if isinstance(term, str):
            return self.literals[term]
        operator, *terms = term
        parts = [self.literal(t) for t in terms]
        match operator, parts:
            case "not", [one]:
                return -one
            case "and", [_, _, *_]:
                return -self.any([-part for part in parts])
            case "or", [_, _, *_]:
                return self.any(parts)
            case "=>", [one, other]:
                return self.any([-one, other])
            case "=", [one, other]:
                return self.same(one, other)
        raise AssertionError(f"unknown term {term}")

    def any(self, parts: list[int]) -> int:
        new = self.new()
        self.clauses += [[-new, *parts], *([new, -part] for part in parts)]
        return new

    def same(self, one: int, other: int) -> int:
        new = self.new()
        self.clauses += [
            [-new, -one, other],
            [-new, one, -other],
            [new, one, other],
            [new, -one, -other],
        ]
        return new
