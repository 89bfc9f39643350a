"""States from which the railway never comes to rest, shown without looking at them all.

From a state on, each variable has, of its values, those that some event may give it, with
every other variable at any of its own: an abstract interpretation with the values of each
variable for itself (P. and R. Cousot, "Abstract interpretation", 1977; independent
attributes). It takes in every state that is reachable from there, and more. A route
that is then never idle is never idle in any of them. What would only clear the line by
hand (`AWAY_FROM_REST`) is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import lru_cache

from bellcrank.running.packed import Packed
from bellcrank.running.state_search import PackedState


class Traps:
    """Tells of states that some variable never again has its first value.

    variables: those that must all have it for the railway to be at rest.
    """

    def __init__(self, packed: Packed, variables: Iterable[int]) -> None:
        self.packed = packed
        self.variables = tuple(variables)
        self.test: Callable[[PackedState], bool] = lru_cache(maxsize=10_000)(self._test)
        self._reading: list[list[int]] = [[] for _ in packed.full]
        self._events = [e for e in packed.events if not packed.away_from_rest[e.number]]
        for place, event in enumerate(self._events):
            read = {*event.units, *event.updates, *(v for c in event.guard for v, _ in c)}
            for variable in read:
                self._reading[variable].append(place)

    def _test(self, state: PackedState) -> bool:
        """Whether the railway never comes to rest from a state on. False if that is so but
        not found."""
        away = [v for v in self.variables if not self.packed.start[v] >> state[v] & 1]
        if not away:
            return False
        values = self._reachable(state, away)
        return values is not None and any(not values[v] & self.packed.start[v] for v in away)

    def _reachable(self, state: PackedState, away: list[int]) -> list[int] | None:
        """All values each variable may come to have; None once all these may come to rest."""
        values = [1 << value for value in state]
        events = self._events
        waiting = dict.fromkeys(range(len(events)))
        while waiting:
            number, _ = waiting.popitem()
            event = events[number]
            if any(not values[v] & mask for v, mask in event.conditions):
                continue
            if any(all(not values[v] & mask for v, mask in clause) for clause in event.guard):
                continue
            units = event.units
            for variable, changes in event.changes:
                now = values[variable]
                allowed = now & units.get(variable, now)
                new = now
                for old, becomes in changes:
                    if old & allowed:
                        new |= becomes
                if new == now:
                    continue
                values[variable] = new
                waiting.update(dict.fromkeys(self._reading[variable]))
                if new & self.packed.start[variable] and all(
                    values[v] & self.packed.start[v] for v in away
                ):
                    return None
        return values
