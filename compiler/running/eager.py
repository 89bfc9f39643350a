"""Events that need not be put off: what may happen at once in any search for a shortest run.

An event without cost is eager if, wherever it may happen and whatever else may happen there, one
loses nothing by letting it happen first. This is a reduction by independence (P. Godefroid,
"Partial-order methods for the verification of concurrent systems", 1996), with an argument of its
own, since here it is the cost of a run that must be kept:

Let e be possible in a state, and let a run lead from there to what is wished. Go along the run
up to e, or to its end. Each event f before that is one of two:

* independent of e: neither makes the other impossible, and both orders lead to the same state.
  Then e is possible after f as well, and may be moved before it.
* one that undoes e: f is possible after e too, and leads to the same state with e before it as
  without. Then the run with e put first leads on as before.

If the end is reached without e, e put first leads to the state after e there, in which what is
wished still holds: e makes no clause of it false. So there is a run that begins with e and costs
no more.

All three are found out from the events alone, variable by variable: an event changes a variable by
its own value, and may only be possible beside another where the conditions of both allow it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain

from bellcrank.running.packed import Changes, Literal, PackedClause, PackedEvent, each_value


def eager_events(
    events: Sequence[PackedEvent],
    without_cost: Iterable[PackedEvent],
    wished: Iterable[Sequence[PackedClause]],
) -> list[PackedEvent]:
    """The eager events among those without cost, in their order.

    events: all that may happen. wished: what may be wished, each all of some clauses.
    """
    looked_up = [_LookedUp(event.conditions, event.guard, event.changes) for event in events]
    own = {event.number: of for event, of in zip(events, looked_up, strict=True)}
    for clauses in wished:
        units = [clause[0] for clause in clauses if len(clause) == 1]
        looked_up.append(_LookedUp(units, [c for c in clauses if len(c) > 1], ()))
    of_variable: dict[int, list[_LookedUp]] = {}
    for one in looked_up:
        for variable in {*one.masks, *one.changes}:
            of_variable.setdefault(variable, []).append(one)
    found = []
    for event in without_cost:
        first = own[event.number]
        met = {id(x): x for v in {*first.masks, *first.changes} for x in of_variable.get(v, ())}
        if all(other is first or _loses_nothing(first, other) for other in met.values()):
            found.append(event)
    return found


class _LookedUp:
    """An event, or what is wished, with what is looked up in it.

    units: what its one-literal clauses allow, by variable. masks: all its literals, by variable.
    changes: how it changes single values, by variable.
    """

    __slots__ = ("changes", "masks", "units")

    def __init__(
        self,
        units: Iterable[Literal],
        clauses: Iterable[PackedClause],
        changes: Iterable[tuple[int, Changes]],
    ) -> None:
        self.units: dict[int, int] = {}
        self.masks: dict[int, set[int]] = {}
        for variable, mask in units:
            self.units[variable] = self.units.get(variable, mask) & mask
        for variable, mask in chain(units, chain.from_iterable(clauses)):
            self.masks.setdefault(variable, set()).add(mask)
        self.changes = {variable: tuple(_single(pairs)) for variable, pairs in changes}


def _loses_nothing(first: _LookedUp, other: _LookedUp) -> bool:
    """Whether an event may happen before another wherever both are possible."""
    if any(not mask & other.units.get(v, mask) for v, mask in first.units.items()):
        return True  # they never are
    if _disables(first, other):
        return False
    if not _disables(other, first) and _same_in_both_orders(first, other):
        return True
    return all(
        _becomes(other, v, new) == _becomes(other, v, old)
        for v in first.changes
        for old, new in _beside(v, first, other)
    )


def _disables(one: _LookedUp, other: _LookedUp) -> bool:
    """Whether an event may make a clause of another's guard false."""
    return any(
        old & mask and not new & mask
        for v in one.changes.keys() & other.masks.keys()
        for old, new in _beside(v, one, other)
        for mask in other.masks[v]
    )


def _same_in_both_orders(one: _LookedUp, other: _LookedUp) -> bool:
    for v in one.changes.keys() & other.changes.keys():
        changes = (*_beside(v, one, other), *_beside(v, other, one))
        for value in {old for old, _ in changes}:
            together = _becomes(one, v, _becomes(other, v, value))
            if together != _becomes(other, v, _becomes(one, v, value)):
                return False
    return True


def _beside(variable: int, one: _LookedUp, other: _LookedUp) -> Iterator[Literal]:
    """How one changes a variable where the conditions of both allow its value."""
    both = one.units.get(variable, -1) & other.units.get(variable, -1)
    return ((old, new) for old, new in one.changes[variable] if old & both)


def _becomes(event: _LookedUp, variable: int, value: int) -> int:
    return next((new for old, new in event.changes.get(variable, ()) if old == value), value)


def _single(pairs: Changes) -> Iterator[Literal]:
    """Changes, each of one value."""
    for olds, new in pairs:
        for old in each_value(olds):
            yield old, new
