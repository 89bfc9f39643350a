"""The words of a machine for a SAT solver, and what its obligations say in them."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations

from pysat.solvers import Cadical153

from bellcrank.machine.machine_model import Clause, Event, Is, Machine


class Words:
    """The words of a machine for a SAT solver: one Boolean for each value of a variable."""

    def __init__(self, machine: Machine) -> None:
        self.solver = Cadical153()
        self.number: dict[tuple[str, str], int] = {}
        for variable in machine.variables.values():
            for value in variable.values:
                self.number[variable.name, value] = len(self.number) + 1
        for variable in machine.variables.values():
            own = [self.number[variable.name, value] for value in variable.values]
            self.solver.add_clause(own)
            for one, other in combinations(own, 2):
                self.solver.add_clause([-one, -other])
        self._free = len(self.number)

    def add(self, clauses: Iterable[Clause], unless: int | None = None) -> None:
        for clause in clauses:
            own = [self.number[x.variable, value] for x in clause for value in sorted(x.values)]
            self.solver.add_clause(own if unless is None else [*own, -unless])

    def possible(self, clauses: Iterable[Clause]) -> bool:
        """Whether clauses can be true together, beside those that were added."""
        self._free += 1
        self.add(clauses, unless=self._free)
        return bool(self.solver.solve(assumptions=[self._free]))


def apart(clause: Clause, machine: Machine) -> list[Clause]:
    """That a clause is false."""
    return [
        (Is(x.variable, frozenset(machine.variables[x.variable].values) - x.values),)
        for x in joined(clause)
    ]


def joined(clause: Clause) -> list[Is]:
    values: dict[str, frozenset[str]] = {}
    for x in clause:
        values[x.variable] = values.get(x.variable, frozenset()) | x.values
    return [Is(variable, its) for variable, its in values.items()]


def false_after(event: Event, clause: Clause, machine: Machine) -> list[Clause]:
    """That a clause is false after an event, as clauses about the state before it."""
    said: list[Clause] = []
    for x in joined(clause):
        becomes = event.updates.get(x.variable, {})
        values = machine.variables[x.variable].values
        said.append(
            (Is(x.variable, frozenset(v for v in values if becomes.get(v, v) not in x.values)),)
        )
    return said
