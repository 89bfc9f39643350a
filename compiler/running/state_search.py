"""Every state a machine can come to, looked at one by one.

For small layouts only: the states are as many as the ways in which trains can
stand about. The prover does not need this; it is an independent look at the same
machine, and it finds the shortest run to a state in which something is wrong.

The machine is turned into one Python function from a state to the states after
it. That is an evaluation of guards and updates and nothing more.
"""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import product

from bellcrank.machine.machine_model import Clause, Event, Machine

Packed = tuple[int, ...]
"""A state: for each variable, in the machine's order, the place of its value."""


@dataclass(slots=True)
class Found:
    """What a search found.

    runs: for each property violated a shortest run of events to a state in which it is.
    starts: the state in which each of these runs starts.
    complete: whether every reachable state was looked at.
    states: how many were.
    """

    runs: dict[str, tuple[Event, ...]] = field(default_factory=dict)
    starts: dict[str, Packed] = field(default_factory=dict)
    complete: bool = False
    states: int = 0
    seen: dict[Packed, tuple[Packed, int] | None] = field(default_factory=dict, repr=False)


class Explorer:
    """A machine, or some of its events, ready to be searched.

    events: which events may happen; all of them if not said.
    """

    def __init__(self, machine: Machine, events: Sequence[Event] | None = None) -> None:
        self.machine = machine
        self.events = tuple(machine.events if events is None else events)
        self.names = list(machine.variables)
        self.place = {name: i for i, name in enumerate(self.names)}
        self.values = [
            {value: i for i, value in enumerate(v.values)} for v in machine.variables.values()
        ]
        self.successors = self._compile()

    def initial(self) -> Iterator[Packed]:
        """All states the machine may start in, the usual one first."""
        choices = [
            [self.values[i][value] for value in v.initial]
            for i, v in enumerate(self.machine.variables.values())
        ]
        yield from product(*choices)

    def unpack(self, state: Packed) -> dict[str, str]:
        """A state as values by variable."""
        return {
            name: self.machine.variables[name].values[i]
            for name, i in zip(self.names, state, strict=True)
        }

    def test(self, clauses: Iterable[Clause]) -> Callable[[Packed], bool]:
        """A function that says whether all clauses are true in a state."""
        condition = " and ".join(self._clause(c) for c in clauses) or "True"
        return eval(f"lambda s: {condition}")  # type: ignore[no-any-return]

    def _mask(self, variable: str, values: Iterable[str]) -> int:
        places = self.values[self.place[variable]]
        return sum(1 << places[value] for value in values)

    def _literal(self, variable: str, values: frozenset[str]) -> str:
        i = self.place[variable]
        places = [self.values[i][value] for value in values]
        if len(places) == 1:
            return f"s[{i}] == {places[0]}"
        return f"{self._mask(variable, values)} >> s[{i}] & 1"

    def _clause(self, clause: Clause) -> str:
        return "(" + (" or ".join(self._literal(*x) for x in clause) or "False") + ")"

    def _compile(self) -> Callable[[Packed], list[tuple[int, Packed]]]:
        """A function from a state to pairs of an event's place and the state after it."""
        triggered: dict[int, dict[int, list[int]]] = defaultdict(lambda: defaultdict(list))
        untriggered: list[int] = []
        for number, event in enumerate(self.events):
            units = [clause[0] for clause in event.guard if len(clause) == 1]
            if not units:
                untriggered.append(number)
                continue
            narrow = min(units, key=lambda x: len(x.values))
            i = self.place[narrow.variable]
            for value in narrow.values:
                triggered[i][self.values[i][value]].append(number)
        tables: dict[str, object] = {}
        lines = ["def successors(s):", " found = []"]
        for number in untriggered:
            lines += self._event(number, " ", tables)
        for i, by_value in triggered.items():
            word = "if"
            lines.append(f" v = s[{i}]")
            for place, numbers in by_value.items():
                lines.append(f" {word} v == {place}:")
                word = "elif"
                for number in numbers:
                    lines += self._event(number, "  ", tables)
        lines.append(" return found")
        scope = dict(tables)
        exec("\n".join(lines), scope)
        return scope["successors"]  # type: ignore[return-value]

    def _event(self, number: int, indent: str, tables: dict[str, object]) -> Iterator[str]:
        event = self.events[number]
        guard = sorted(event.guard, key=len)
        condition = " and ".join(self._clause(c) for c in guard) or "True"
        yield f"{indent}if {condition}:"
        yield f"{indent} n = list(s)"
        for variable, becomes in event.updates.items():
            i = self.place[variable]
            places = self.values[i]
            table = list(range(len(places)))
            for value, new in becomes.items():
                table[places[value]] = places[new]
            name = f"t{number}_{i}"
            tables[name] = tuple(table)
            yield f"{indent} n[{i}] = {name}[s[{i}]]"
        yield f"{indent} found.append(({number}, tuple(n)))"

    def never_leads_to(self, clauses: Iterable[Clause], seen: Iterable[Packed]) -> Packed | None:
        """The first of these states, which are all there are, from which none can be come
        to in which all clauses are true; None if there is no such state."""
        test = self.test(clauses)
        before: dict[Packed, list[Packed]] = defaultdict(list)
        states = list(seen)
        for state in states:
            for _, following in self.successors(state):
                before[following].append(state)
        good = [state for state in states if test(state)]
        leads = set(good)
        while good:
            for state in before[good.pop()]:
                if state not in leads:
                    leads.add(state)
                    good.append(state)
        return next((state for state in states if state not in leads), None)

    def run_to(
        self, seen: dict[Packed, tuple[Packed, int] | None], state: Packed
    ) -> tuple[Packed, tuple[Event, ...]]:
        """Where the search started from, and the events by which it came to a state."""
        run = []
        while (before := seen[state]) is not None:
            state, number = before
            run.append(self.events[number])
        return state, tuple(reversed(run))

    def search(
        self,
        wanted: dict[str, Callable[[Packed], bool]],
        most: int = 1_000_000,
        deadline: float | None = None,
        *,
        from_first: bool = False,
    ) -> Found:
        """Look through all states, the nearest first.

        wanted: tests by name; the run to the nearest state that meets each is kept.
            With none left to find, the search ends.
        most: states to look at before giving up.
        deadline: a time of the monotonic clock at which to give up.
        from_first: start only in the usual state.
        """
        found = Found()
        seen = found.seen
        open_ = dict(wanted)
        frontier: list[Packed] = []
        for state in self.initial():
            seen[state] = None
            frontier.append(state)
            self._meet(state, open_, found)
            if from_first or (wanted and not open_):
                break
            # Drives may lie in any position at the start: that alone can be too many.
            if len(seen) > most or (deadline is not None and time.monotonic() > deadline):
                found.states = len(seen)
                return found
        while frontier and (open_ or not wanted):
            following: list[Packed] = []
            for state in frontier:
                for number, after in self.successors(state):
                    if after not in seen:
                        seen[after] = (state, number)
                        following.append(after)
                        if open_:
                            self._meet(after, open_, found)
                if len(seen) > most or (deadline is not None and time.monotonic() > deadline):
                    found.states = len(seen)
                    return found
                if wanted and not open_:
                    break
            frontier = following
        found.complete = not frontier
        found.states = len(seen)
        return found

    def _meet(
        self, state: Packed, wanted: dict[str, Callable[[Packed], bool]], found: Found
    ) -> None:
        for name in [name for name, test in wanted.items() if test(state)]:
            del wanted[name]
            found.starts[name], found.runs[name] = self.run_to(found.seen, state)


def violated(explorer: Explorer, machine: Machine) -> dict[str, Callable[[Packed], bool]]:
    """For each property a test that says whether a state violates it."""
    clauses: dict[str, list[Clause]] = defaultdict(list)
    for invariant in machine.invariants:
        clauses[invariant.of].append(invariant.clause)
    tests = {}
    for name, stated in clauses.items():
        good = explorer.test(stated)
        tests[name] = _not(good)
    return tests


def _not(test: Callable[[Packed], bool]) -> Callable[[Packed], bool]:
    return lambda state: not test(state)
