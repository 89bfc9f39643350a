"""The run of a machine that comes to what is wished with the fewest events that count.

Best-first search with a bound that never says too much: A* (P. Hart, N. Nilsson, B. Raphael, "A
formal basis for the heuristic determination of minimum cost paths", 1968). The bound is that of
`landmarks.py`, found out of a state only when it is its turn; until then that of the state before
it does. After each event all that is eager happens (`eager.py`), so that of the many orders in
which the machine does what it does by itself one is looked at.

What is found is a shortest run, or that there is none: because nothing leads there even where
what was once true stays true, or because all states have been looked at. A search that is
given up says below how many events there is no run, and may be gone on with in a hurry: the bound
then weighs more than what has happened, and whatever is found first is taken (weighted A*; I. Pohl,
"Heuristic search viewed as path finding in a graph", 1970).
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Sequence
from copy import copy
from dataclasses import dataclass
from heapq import heappop, heappush
from typing import Literal, cast

from bellcrank.machine.machine_model import Clause, Event, Machine, State
from bellcrank.running.eager import eager_events
from bellcrank.running.landmarks import Landmark, Relaxation
from bellcrank.running.packed import PackedClause
from bellcrank.running.state_search import Explorer, PackedState

Wished = Sequence[Sequence[Clause]]
"""Ways in which what is wished can hold, each all of some clauses."""

Because = Literal["nothing leads there", "all states were looked at"]

_OFTEN = 64
"""States after which the clock is looked at."""


@dataclass(frozen=True, slots=True)
class Run:
    """A run to what is wished.

    events: all of it, one after the other. count: how many of them count.
    at_least: how many count in any run; if as many as in this one, none is shorter.
    """

    events: tuple[Event, ...]
    count: int
    at_least: int
    states: int

    @property
    def shortest(self) -> bool:
        return self.count == self.at_least


@dataclass(frozen=True, slots=True)
class NoRun:
    """That there is no run to what is wished, and how this is known.

    states: that were looked at.
    """

    because: Because
    states: int


@dataclass(frozen=True, slots=True)
class GivenUp:
    """That a search was given up. There is no run in which fewer than `at_least` events count."""

    at_least: int
    states: int


@dataclass(slots=True)
class _Node:
    """A state that was reached, and how.

    landmarks: of which each event that happens before counts itself off; whether they are all
    that are known of this state is `looked_at`.
    """

    state: PackedState
    count: int
    landmarks: tuple[Landmark, ...]
    before: _Node | None
    events: tuple[int, ...]
    looked_at: bool = False


class Search:
    """A search for a shortest run, which can be gone on with after it was given up.

    at_least: below how many events that count there is no run, as is known by now.
    states: how many were looked at.

    events: that may happen; none else does.
    at_a_cost: those of them that count, by their place there; each counts one.
    """

    def __init__(
        self,
        machine: Machine,
        events: Sequence[Event],
        at_a_cost: Collection[int],
        start: State,
        wished: Wished,
    ) -> None:
        self.events = tuple(events)
        self._counts = frozenset(at_a_cost)
        self._explorer = Explorer(machine, self.events)
        encoding = self._explorer.encoding
        # Values are kept as bytes where none has too many: a tuple takes eight times the room.
        few = all(len(values) <= 256 for values in encoding.values)
        kept = bytes if few else tuple
        self._kept = cast("Callable[[Sequence[int]], PackedState]", kept)
        packed = [encoding.event(number, event) for number, event in enumerate(self.events)]
        ways = [tuple(encoding.clause(clause) for clause in clauses) for clauses in wished]
        self._ways = [self._explorer.test(clauses) for clauses in wished]
        free = [event for event in packed if event.number not in self._counts]
        eager = eager_events(packed, free, ways)
        self._eager = [event.number for event in eager]
        self._settling = Explorer(machine, [self.events[number] for number in self._eager])
        self._relaxation = Relaxation(encoding, packed, self._counts, _once(ways))
        state, settled = self._settled(self._explorer.pack(start), ())
        self._start = state, settled
        self.states = 0
        self.at_least = 0
        self._weight = 1
        self._begin()

    def _begin(self) -> None:
        state, settled = self._start
        self._best = {state: 0}
        self._open: list[tuple[int, int, int, int, _Node]] = []
        self._made = 0
        self._push(_Node(state, 0, (), None, settled), 0)

    def without_bound(self) -> Search:
        """The same search from its beginning, in the order of what counts alone. Each state takes
        a fraction of the time, and none is left out: the faster way to look at all of few."""
        return self._again(0)

    def in_a_hurry(self, weight: int = 4) -> Search:
        """The same search from its beginning, for any run that is not much longer than need be."""
        return self._again(weight)

    def _again(self, weight: int) -> Search:
        other = copy(self)
        other._weight = weight
        other.states = 0
        other._begin()
        return other

    def go_on(
        self, until: float | None = None, tell: Callable[[int, int], None] | None = None
    ) -> Run | NoRun | GivenUp:
        """Search on until there is an answer.

        until: a time of the monotonic clock at which to give up.
        tell: told now and then how many states were looked at, and below how many events there
            is no run.
        """
        turns = 0
        while self._open:
            bound, _, _, _, node = heappop(self._open)
            if self._weight <= 1:
                self.at_least = max(self.at_least, bound)
            turns += 1
            if turns % _OFTEN == 1:
                if tell is not None:
                    tell(self.states, self.at_least)
                if until is not None and time.monotonic() > until:
                    self._push(node, bound)
                    return GivenUp(self.at_least, self.states)
            if node.count > self._best[node.state]:
                continue  # there is a shorter run to it by now
            if self._weight and not node.looked_at:
                landmarks = self._relaxation.to_do(node.state, node.landmarks)
                if landmarks is None:
                    continue
                node.landmarks = tuple(landmarks)
                node.looked_at = True
                least = self._bound_of(node)
                if least > bound:
                    self._push(node, least)
                    continue
            if any(test(node.state) for test in self._ways):
                self.at_least = node.count if self._weight <= 1 else self.at_least
                return Run(self._run_to(node), node.count, self.at_least, self.states)
            self._expand(node)
        because: Because = "all states were looked at" if self.states else "nothing leads there"
        return NoRun(because, self.states)

    def _expand(self, node: _Node) -> None:
        self.states += 1
        for number, then in self._explorer.successors(node.state):
            state, settled = self._settled(then, (number,))
            count = node.count + (number in self._counts)
            known = self._best.get(state)
            if known is not None and known <= count:
                continue
            self._best[state] = count
            landmarks = tuple(mark for mark in node.landmarks if number not in mark)
            new = _Node(state, count, landmarks, node, settled)
            self._push(new, max(self._bound_of(new), self._bound_of(node)))

    def _bound_of(self, node: _Node) -> int:
        """How many events count in any run by this state, if the weight is one."""
        return node.count + self._weight * len(node.landmarks)

    def _settled(
        self, state: Sequence[int], events: tuple[int, ...]
    ) -> tuple[PackedState, tuple[int, ...]]:
        """The state after all that is eager has happened, and what has happened."""
        seen = set()
        at = self._kept(state)
        while at not in seen:
            seen.add(at)
            possible = self._settling.successors(at)
            if not possible:
                break
            number, then = possible[0]
            events = (*events, self._eager[number])
            at = self._kept(then)
        return at, events

    def _push(self, node: _Node, bound: int) -> None:
        """Put a node where it is its turn: the least bound first; of those the nearest to the
        end, and of those the one reached in fewer events of any sort."""
        self._made += 1
        key = (bound, len(node.landmarks), -node.count, self._made, node)
        heappush(self._open, key)

    def _run_to(self, node: _Node) -> tuple[Event, ...]:
        runs: list[tuple[int, ...]] = []
        at: _Node | None = node
        while at is not None:
            runs.append(at.events)
            at = at.before
        return tuple(self.events[number] for run in reversed(runs) for number in run)


def _once(ways: Sequence[tuple[PackedClause, ...]]) -> Sequence[tuple[PackedClause, ...]]:
    return tuple(dict.fromkeys(ways))
