"""A machine that keeps count of what each of its events still lacks.

For walks of many steps over all events of a large machine: a state is changed in
place, and only the clauses that speak of what has changed are looked at again. The
counting is that of W. F. Dowling and J. H. Gallier, "Linear-time algorithms for testing
the satisfiability of propositional Horn formulae", 1984, made to go back as well.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from bellcrank.machine.machine_model import Clause, Event, Machine, State, changes, holds
from bellcrank.running.lookup import ByVariable


class Stepper:
    """A machine in a state.

    events: the machine's. Events are known by their number in it, from 0.
    state: the value of every variable. Changed only by `do` and `set_to`.
    false: for each event, how many clauses of its guard are false.
    possible: the events of whose guard no clause is false.
    clauses: all clauses of guards, each once. with_clause: the events that each is part of.
    touched: the events of whose guard a clause has changed since this was last emptied.
    """

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.events: tuple[Event, ...] = machine.events
        numbers: dict[Clause, int] = {}
        self._clauses_of = [
            tuple(dict.fromkeys(numbers.setdefault(c, len(numbers)) for c in event.guard))
            for event in self.events
        ]
        self.clauses = tuple(numbers)
        self._stated = ByVariable(self.clauses)
        self.with_clause: list[list[int]] = [[] for _ in self.clauses]
        for number, of in enumerate(self._clauses_of):
            for clause_number in of:
                self.with_clause[clause_number].append(number)
        self.state: dict[str, str] = machine.start()
        self._true = [holds(clause, self.state) for clause in self.clauses]
        self.false = [sum(not self._true[c] for c in of) for of in self._clauses_of]
        self.possible = {e for e, false in enumerate(self.false) if not false}
        self.touched = set(range(len(self.events)))

    def guard(self, event: int) -> tuple[int, ...]:
        """The numbers of the clauses of an event's guard, each once."""
        return self._clauses_of[event]

    def lacking(self, event: int) -> Iterable[int]:
        """The clauses of an event's guard that are false."""
        return (c for c in self._clauses_of[event] if not self._true[c])

    def do(self, event: int) -> dict[str, tuple[str, str]]:
        """Let an event happen, possible or not: what has changed, from what to what."""
        new = changes(self.events[event], self.state)
        changed = {variable: (self.state[variable], value) for variable, value in new.items()}
        self._change(new)
        return changed

    def set_to(self, state: State) -> None:
        """Go to any state."""
        self._change({v: value for v, value in state.items() if self.state[v] != value})

    def _change(self, values: Mapping[str, str]) -> None:
        self.state.update(values)
        for number in {c for variable in values for c in self._stated.naming(variable)}:
            true = holds(self.clauses[number], self.state)
            if true is self._true[number]:
                continue
            self._true[number] = true
            for event in self.with_clause[number]:
                self.touched.add(event)
                if true:
                    self.false[event] -= 1
                    if not self.false[event]:
                        self.possible.add(event)
                else:
                    if not self.false[event]:
                        self.possible.discard(event)
                    self.false[event] += 1
