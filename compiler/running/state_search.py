"""Every state that a machine can reach, looked at one by one.

Explicit-state model checking, for small layouts only: the states are as many as the
ways in which trains can stand about. The prover does not need this; it is an
independent look at the same machine, and it finds the shortest run to a state in which
something is wrong.

The machine is turned into one Python function from a state to the states after
it. That is an evaluation of guards and updates and nothing more.
"""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import chain, product

from bellcrank.machine.machine_model import Clause, Event, Machine
from bellcrank.running.lookup import ByNarrowest
from bellcrank.running.packed import Encoding, PackedClause
from bellcrank.running.reachability import Seen, breadth_first, path_to

PackedState = tuple[int, ...]
"""For each variable, in the machine's order, the place of its value."""

Test = Callable[[PackedState], bool]

OFTEN = 1_000
"""States after which the clock is looked at, and who waits is told how many there are."""


@dataclass(slots=True)
class Found:
    """What a search found.

    runs: for each property violated a shortest run of events to a state in which it is.
    starts: the state in which each of these runs starts.
    complete: whether every reachable state was looked at.
    states: how many were.
    depth: events within which every state that is reachable was looked at, if not all were.
    """

    runs: dict[str, tuple[Event, ...]] = field(default_factory=dict)
    starts: dict[str, PackedState] = field(default_factory=dict)
    complete: bool = False
    states: int = 0
    depth: int = 0
    seen: Seen[PackedState, int] = field(default_factory=dict, repr=False)


class Explorer:
    """A machine, or some of its events, ready to be searched.

    events: which events may happen; all of them if not said.
    """

    def __init__(self, machine: Machine, events: Sequence[Event] | None = None) -> None:
        self.machine = machine
        self.events = tuple(machine.events if events is None else events)
        self.encoding = Encoding(machine.variables)
        self.names = self.encoding.names
        self.place = self.encoding.place
        self.values = self.encoding.values
        self.successors = self._compile()

    def initial(self) -> Iterator[PackedState]:
        """All states the machine may start in, the usual one first."""
        choices = [
            [places[value] for value in v.initial]
            for places, v in zip(self.values, self.machine.variables.values(), strict=True)
        ]
        yield from product(*choices)

    def pack(self, state: Mapping[str, str]) -> PackedState:
        """A state from values by variable."""
        return tuple(
            [places[state[name]] for name, places in zip(self.names, self.values, strict=True)]
        )

    def unpack(self, state: PackedState) -> dict[str, str]:
        """A state as values by variable."""
        return {
            name: self.machine.variables[name].values[i]
            for name, i in zip(self.names, state, strict=True)
        }

    # -------------------------------------------------- the machine as a function

    def test(self, clauses: Iterable[Clause]) -> Test:
        """A function that says whether all clauses are true in a state."""
        condition = " and ".join(_clause(self.encoding.clause(c)) for c in clauses) or "True"
        return eval(f"lambda s: {condition}")  # type: ignore[no-any-return]

    def _compile(self) -> Callable[[PackedState], list[tuple[int, PackedState]]]:
        """A function from a state to pairs of an event's place and the state after it."""
        lookup = ByNarrowest(self.events)
        tables: dict[str, object] = {}
        lines = ["def successors(s):", " found = []"]
        for number in lookup.always:
            lines += self._event(number, " ", {}, tables)
        by_place: dict[int, dict[int, list[int]]] = defaultdict(dict)
        for (name, value), numbers in lookup.by_value.items():
            i = self.place[name]
            by_place[i][self.values[i][value]] = numbers
        for i, by_value in by_place.items():
            word = "if"
            lines.append(f" v = s[{i}]")
            for place, numbers in by_value.items():
                known = {i: 1 << place}
                events = [self._event(number, "  ", known, tables) for number in numbers]
                block = list(chain.from_iterable(events))
                if block:
                    lines += [f" {word} v == {place}:", *block]
                    word = "elif"
        lines.append(" return found")
        scope = dict(tables)
        exec("\n".join(lines), scope)
        return scope["successors"]  # type: ignore[return-value]

    def _event(
        self, number: int, indent: str, known: Mapping[int, int], tables: dict[str, object]
    ) -> Iterator[str]:
        """The lines for an event. known: the values that some variables are known to have
        there, which need not be looked at again."""
        event = self.encoding.event(number, self.events[number])
        units = event.units
        if any(not mask & units.get(v, mask) for v, mask in known.items()):
            return  # a second condition on the same variable rules the value out
        guard = [_literal(v, mask) for v, mask in event.conditions if v not in known]
        guard += [_clause(clause) for clause in sorted(event.guard, key=len)]
        yield f"{indent}if {' and '.join(guard) or 'True'}:"
        yield f"{indent} n = list(s)"
        for i, changes in event.changes:
            table = list(range(len(self.values[i])))
            for old, new in changes:
                for place in range(len(table)):
                    if old >> place & 1:
                        table[place] = new.bit_length() - 1
            allowed = known.get(i, units.get(i, self.encoding.full[i]))
            becomes = {new for place, new in enumerate(table) if allowed >> place & 1}
            if len(becomes) == 1:
                yield f"{indent} n[{i}] = {becomes.pop()}"
                continue
            name = f"t{number}_{i}"
            tables[name] = tuple(table)
            yield f"{indent} n[{i}] = {name}[s[{i}]]"
        yield f"{indent} found.append(({number}, tuple(n)))"

    # ------------------------------------------------------------------- searches

    def search(
        self,
        wanted: Mapping[str, Test],
        most: int = 1_000_000,
        deadline: float | None = None,
        *,
        starts: Iterable[PackedState] | None = None,
        tell: Callable[[int], None] | None = None,
    ) -> Found:
        """Look through all states, the nearest first.

        wanted: tests by name; the run to the nearest state that meets each is kept.
            With none left to find, the search ends.
        most: states to look at before giving up.
        deadline: a time of the monotonic clock at which to give up.
        starts: where to begin; if not said, in every state the machine may start in.
        tell: told now and then how many states have been looked at.
        """
        found = Found()
        seen = found.seen
        open_ = dict(wanted)
        begin = self.initial() if starts is None else starts
        for count, state in enumerate(breadth_first(begin, self.successors, seen), start=1):
            if open_:
                self._meet(state, open_, found)
                if not open_:
                    break
            if count > most:
                break
            if count % OFTEN == 1:
                if deadline is not None and time.monotonic() > deadline:
                    break
                if tell is not None:
                    tell(count)
        else:
            found.complete = True
        if seen and not found.complete:
            found.depth = max(0, len(path_to(seen, state)[1]) - 1)
        found.states = len(seen)
        return found

    def _meet(self, state: PackedState, wanted: dict[str, Test], found: Found) -> None:
        for name in [name for name, test in wanted.items() if test(state)]:
            del wanted[name]
            found.starts[name], found.runs[name] = self.run_to(found.seen, state)

    def run_to(
        self, seen: Seen[PackedState, int], state: PackedState
    ) -> tuple[PackedState, tuple[Event, ...]]:
        """Where the search started from, and the events by which it reached a state."""
        start, numbers = path_to(seen, state)
        return start, tuple(self.events[number] for number in numbers)

    def never_leads_to(
        self, clauses: Iterable[Clause], seen: Iterable[PackedState]
    ) -> PackedState | None:
        """The first of these states, which are all there are, from which no state is
        reachable in which all clauses are true; None if there is no such state."""
        test = self.test(clauses)
        before: dict[PackedState, list[tuple[None, PackedState]]] = defaultdict(list)
        states = list(seen)
        for state in states:
            for _, following in self.successors(state):
                before[following].append((None, state))
        leads: Seen[PackedState, None] = {}
        good = (state for state in states if test(state))
        for _ in breadth_first(good, lambda state: before.get(state, ()), leads):
            pass
        return next((state for state in states if state not in leads), None)


def _literal(variable: int, mask: int) -> str:
    if mask.bit_count() == 1:
        return f"s[{variable}] == {mask.bit_length() - 1}"
    return f"{mask} >> s[{variable}] & 1"


def _clause(clause: PackedClause) -> str:
    return "(" + (" or ".join(_literal(v, mask) for v, mask in clause) or "False") + ")"


def violated(explorer: Explorer, machine: Machine) -> dict[str, Test]:
    """For each property a test that says whether a state violates it."""
    clauses: dict[str, list[Clause]] = defaultdict(list)
    for invariant in machine.invariants:
        clauses[invariant.of].append(invariant.clause)
    tests = {}
    for name, stated in clauses.items():
        good = explorer.test(stated)
        tests[name] = _not(good)
    return tests


def _not(test: Test) -> Test:
    return lambda state: not test(state)
