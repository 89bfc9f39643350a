"""What may have happened unseen, so that what was seen could happen.

Some events of a machine are seen and others are not: a section is reported occupied, but nobody
reports that a train has passed the signal before it. Kept are the states that the machine can be
in after all that was seen, each with a run that leads there: the observer of a discrete-event
system with unobservable events (M. Sampath and others, "Diagnosability of discrete-event
systems", 1995).

Not every such run is looked at. What is not seen happens as late as it can: only when something
that is seen needs it, or would make it impossible. Events that have nothing to do with what is
seen can be put off (the reduction of P. Godefroid, "Partial-order methods for the verification of
concurrent systems", 1996); those looked at are found backwards from what the seen event lacks. If
later nothing fits any more, the last of what was seen is gone through again with more of what may
have happened. So a run that is found is a run of the machine; that none is found is no proof that
there is none.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush
from itertools import chain, islice
from typing import NamedTuple

from bellcrank.machine.machine_model import Machine, State
from bellcrank.running.packed import Encoding, PackedClause, PackedEvent

_PackedState = tuple[int, ...]
"""For each variable the one bit of its value."""

_WIDTH = 48
"""States that are kept at most."""

_MOST = 1_500
"""States looked at for one thing that was seen, from one state."""

_DEEPEST = 14
"""Steps back from what was seen."""

_MORE = 2
"""How many steps further back are looked at, where nothing fits."""

_BACK = (4, 16, 64, 256)
"""How much of what was seen is gone through again then."""


@dataclass(frozen=True, slots=True, eq=False)
class Fitting:
    """A state that fits what was seen, and how the machine comes there.

    cost: how unlikely all is that must have happened unseen. events: by their numbers, the last
    of the run, after those of `before`.
    """

    state: _PackedState
    cost: int = 0
    events: tuple[int, ...] = ()
    before: Fitting | None = None

    def run(self) -> list[int]:
        """All events, from the beginning."""
        found: list[tuple[int, ...]] = []
        at: Fitting | None = self
        while at is not None:
            found.append(at.events)
            at = at.before
        return [event for events in reversed(found) for event in events]


class _Way(NamedTuple):
    """A state, how unlikely all is that must have happened unseen, and the events that lead to
    it."""

    state: _PackedState
    cost: int
    events: tuple[int, ...]


Seen = Sequence[Sequence[int]]
"""What was seen to happen at once: events one after the other, of each the choices."""


class Explaining:
    """The states of a machine that fit what was seen.

    fitting: the likeliest first; none if nothing was found that fits.
    """

    def __init__(
        self, machine: Machine, unseen: Mapping[int, int], seen: Mapping[int, int] = {}
    ) -> None:
        """unseen: the events that are not seen, by their number, with how unlikely each is.
        seen: likewise those that are seen and are unlikely."""
        self.machine = machine
        self._encoding = Encoding(machine.variables)
        self._events = [self._encoding.event(n, event) for n, event in enumerate(machine.events)]
        self._unseen = unseen
        self._cost = {**seen, **unseen}
        self._tiers = sorted(set(unseen.values()))
        self._makes: defaultdict[int, list[tuple[int, int]]] = defaultdict(list)
        self._reads: defaultdict[int, list[int]] = defaultdict(list)
        for number in unseen:
            event = self._events[number]
            for variable, changes in event.updates.items():
                into = 0
                for _, new in changes:
                    into |= new
                self._makes[variable].append((number, into))
            for variable in _named(event):
                self._reads[variable].append(number)
        self._past: list[tuple[list[Fitting], Seen]] = []
        self.fitting: list[Fitting] = []

    def begin(self, states: Iterable[State]) -> None:
        """Begin in any of these states."""
        self._past.clear()
        self.fitting = [Fitting(self._packed(state)) for state in states]

    def state(self, fitting: Fitting) -> dict[str, str]:
        """A state by names."""
        values = self.machine.variables.values()
        return {
            v.name: v.values[bit.bit_length() - 1]
            for v, bit in zip(values, fitting.state, strict=True)
        }

    def see(self, seen: Seen) -> bool:
        """Something was seen. Whether anything fits it; if not, all stays as it was."""
        following = self._after(self.fitting, seen, 0)
        if not following:
            following = self._again(seen)
        if not following:
            return False
        self._past.append((self.fitting, seen))
        del self._past[: -max(_BACK)]
        self.fitting = following
        return True

    # ------------------------------------------------------------------ one thing seen

    def _again(self, seen: Seen) -> list[Fitting]:
        """Go through the last of what was seen again, with more of what may have happened."""
        for back in _BACK:
            past = self._past[-back:]
            if not past:
                return []
            fitting = past[0][0]
            for each in (*(then for _, then in past), seen):
                fitting = self._after(fitting, each, _MORE)
            if fitting:
                return fitting
            if len(past) < back:
                return []
        return []

    def _after(self, fitting: Iterable[Fitting], seen: Seen, more: int) -> list[Fitting]:
        found: dict[_PackedState, Fitting] = {}
        for each in fitting:
            for way in self._ways(each, seen, more):
                known = found.get(way.state)
                if known is None or way.cost < known.cost:
                    found[way.state] = way
        return sorted(found.values(), key=lambda way: way.cost)[:_WIDTH]

    def _ways(self, fitting: Fitting, seen: Seen, more: int) -> Iterator[Fitting]:
        """What may follow of a state when something is seen."""
        ways = [_Way(fitting.state, fitting.cost, ())]
        for choices in seen:
            ways = [
                _Way(then.state, way.cost + then.cost, (*way.events, *then.events))
                for way in ways
                for then in self._leading_to(choices, way.state, more)
            ]
        for way in ways:
            yield Fitting(*way, fitting)

    def _leading_to(self, choices: Sequence[int], state: _PackedState, more: int) -> list[_Way]:
        """Runs whose last event is the first of these choices that happens in them."""
        able = [choice for choice in choices if self._possible(choice, state)]
        if able:
            return [way for choice in able for way in self._at_once(choice, state, more > 0)]
        ways: list[_Way] = []
        for tier in self._tiers:
            cones: Iterator[list[int]] = self._cones(choices, state, tier)
            if more:
                nearest = list(islice(cones, more + 1))
                cones = chain(nearest[-1:], cones)
            for cone in cones:
                found = self._search(choices, cone, state, thorough=more > 0)
                if found:
                    ways += found
                    break
            if ways and not more:
                break
        return ways

    def _at_once(self, seen: int, state: _PackedState, thorough: bool) -> Iterator[_Way]:
        """What is seen, and what may have happened before it and not any more after it."""
        cost = self._cost.get(seen, 0)
        following = self._do(seen, state)
        yield _Way(following, cost, (seen,))
        changed = self._events[seen].updates
        for number in dict.fromkeys(n for v in changed for n in self._reads[v]):
            unlikely = self._unseen[number]
            if (unlikely and not thorough) or not self._possible(number, state):
                continue
            then = self._do(number, state)
            if not self._possible(number, following) and self._possible(seen, then):
                yield _Way(self._do(seen, then), cost + unlikely, (number, seen))

    def _cones(self, choices: Sequence[int], state: _PackedState, tier: int) -> Iterator[list[int]]:
        """Ever more events, none less likely than `tier`, that may lead to one of the choices."""
        known = 0
        for depth in range(1, _DEEPEST):
            cone = self._cone(choices, state, depth, tier)
            if len(cone) == known:
                break
            known = len(cone)
            if self._may_reach(choices, cone, state):
                yield cone

    def _search(
        self, choices: Sequence[int], cone: Sequence[int], state: _PackedState, *, thorough: bool
    ) -> list[_Way]:
        """The likeliest and shortest runs of these events up to one of the choices (E. W.
        Dijkstra, "A note on two problems in connexion with graphs", 1959).

        thorough: also less likely ones.
        """
        found: list[_Way] = []
        heap: list[tuple[int, int, int, _Way]] = [(0, 0, 0, _Way(state, 0, ()))]
        seen = {state}
        count = 0
        while heap and count < _MOST and len(found) < _WIDTH:
            _, _, _, way = heappop(heap)
            if found and way.cost > found[0].cost and not thorough:
                break
            able = [choice for choice in choices if self._possible(choice, way.state)]
            if able:
                if not any(set(known.events[:-1]) <= set(way.events) for known in found):
                    for choice in able:
                        cost = way.cost + self._cost.get(choice, 0)
                        state = self._do(choice, way.state)
                        found.append(_Way(state, cost, (*way.events, choice)))
                continue
            for number in cone:
                if self._possible(number, way.state):
                    then = self._do(number, way.state)
                    if then not in seen:
                        seen.add(then)
                        count += 1
                        next_ = _Way(then, way.cost + self._unseen[number], (*way.events, number))
                        heappush(heap, (next_.cost, len(next_.events), count, next_))
        return found

    # ------------------------------------------------------------ what may matter

    def _cone(
        self, choices: Sequence[int], state: _PackedState, depth: int, tier: int
    ) -> list[int]:
        """The events that may help: those that make true what the choices lack, those that make
        true what these lack, and so on; and those that make true again what others undo."""
        found: dict[int, None] = {}
        self._widen(
            found, [c for n in choices for c in self._lacking(n, state)], state, depth, tier
        )
        undone = {variable for number in found for variable in self._events[number].updates}
        again = [
            clause
            for number in choices
            for clause in self._clauses(number)
            if any(v in undone and state[v] & mask for v, mask in clause)
        ]
        self._widen(found, again, state, depth, tier)
        return list(found)

    def _widen(
        self,
        found: dict[int, None],
        wanted: Sequence[PackedClause],
        state: _PackedState,
        depth: int,
        tier: int,
    ) -> None:
        for _ in range(depth):
            new = {
                maker: None
                for clause in wanted
                for variable, mask in clause
                for maker, into in self._makes[variable]
                if into & mask and maker not in found and self._unseen[maker] <= tier
            }
            if not new:
                break
            found |= new
            wanted = [clause for number in new for clause in self._lacking(number, state)]

    def _may_reach(self, choices: Sequence[int], cone: Sequence[int], state: _PackedState) -> bool:
        """Whether one of the choices is possible in the end, if what has once been true stays
        true (the relaxation of planners: B. Bonet and H. Geffner, "Planning as heuristic search",
        2001)."""
        values: dict[int, int] = {}
        left = list(cone)
        while True:
            if any(_allows(self._events[choice], values, state) for choice in choices):
                return True
            waiting = []
            changed = False
            for number in left:
                event = self._events[number]
                if not _allows(event, values, state):
                    waiting.append(number)
                    continue
                for variable, changes in event.updates.items():
                    now = values.get(variable, state[variable])
                    more = now
                    for old, new in changes:
                        if old & now:
                            more |= new
                    if more != now:
                        values[variable] = more
                        changed = True
                waiting.append(number)  # its other values may change yet
            if not changed:
                return False
            left = waiting

    # ----------------------------------------------------------------- the machine

    def _packed(self, state: State) -> _PackedState:
        encoding = self._encoding
        return tuple(
            1 << places[state[name]]
            for name, places in zip(encoding.names, encoding.values, strict=True)
        )

    def _possible(self, number: int, state: _PackedState) -> bool:
        event = self._events[number]
        for variable, mask in event.units.items():
            if not state[variable] & mask:
                return False
        return all(any(state[v] & mask for v, mask in clause) for clause in event.guard)

    def _clauses(self, number: int) -> Iterator[PackedClause]:
        event = self._events[number]
        for unit in event.units.items():
            yield (unit,)
        yield from event.guard

    def _lacking(self, number: int, state: _PackedState) -> Iterator[PackedClause]:
        for clause in self._clauses(number):
            if not any(state[v] & mask for v, mask in clause):
                yield clause

    def _do(self, number: int, state: _PackedState) -> _PackedState:
        following = list(state)
        for variable, changes in self._events[number].updates.items():
            for old, new in changes:
                if state[variable] & old:
                    following[variable] = new
                    break
        return tuple(following)


def _named(event: PackedEvent) -> Iterator[int]:
    yield from event.units
    for clause in event.guard:
        yield from (variable for variable, _ in clause)


def _allows(event: PackedEvent, values: Mapping[int, int], state: _PackedState) -> bool:
    """Whether a guard can be true with any of the values that variables may have by now."""
    for variable, mask in event.units.items():
        if not values.get(variable, state[variable]) & mask:
            return False
    return all(any(values.get(v, state[v]) & mask for v, mask in clause) for clause in event.guard)
