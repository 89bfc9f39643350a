"""Which events take a variable out of some values: only they can make a literal false.

A station with many roads has many events that move one and the same variable, and few that
move it out of the values of one literal. Few literals make up most clauses, so what is found
of a literal is kept for the next clause that it is in.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

from bellcrank.running.packed import Literal, Packed, PackedEvent, each_value

MOST_KEPT = 20_000
"""Literals and events kept; those who ask go along the railway, and seldom come back."""

WayOut = tuple[PackedEvent, Mapping[int, int]]
"""An event that takes a variable out of some values, and what its guard allows, by variable."""

_ByValue = dict[int, list[int]]
"""Places of moves, by one value."""


class WaysOut:
    """The ways out of the literals of a machine."""

    def __init__(self, packed: Packed) -> None:
        self._packed = packed
        self._known: dict[Literal, Sequence[WayOut]] = {}
        self._of_event: dict[int, WayOut] = {}
        self._by_value: dict[int, tuple[_ByValue, _ByValue]] = {}

    def of(self, literal: Literal) -> Sequence[WayOut]:
        """The events that may make a literal false."""
        found = self._known.get(literal)
        if found is None:
            if len(self._known) + len(self._of_event) >= MOST_KEPT:
                self._known.clear()
                self._of_event.clear()
                self._by_value.clear()
            found = self._known[literal] = self._found(*literal)
        return found

    def _found(self, variable: int, mask: int) -> Sequence[WayOut]:
        """Looks at what moves the variable from one of the values or to one of the others,
        whichever are fewer."""
        moves = self._packed.moves[variable]
        by_old, by_new = self._moves_by_value(variable)
        outside = self._packed.full[variable] & ~mask
        fewer, by_value = (
            (mask, by_old) if mask.bit_count() < outside.bit_count() else (outside, by_new)
        )
        found: list[WayOut] = []
        for place in sorted({n for value in each_value(fewer) for n in by_value.get(value, ())}):
            move = moves[place]
            allowed = move.allowed & mask
            if any(old & allowed and not new & mask for old, new in move.changes):
                found += [self._way(event) for event in move.events]
        return found

    def _moves_by_value(self, variable: int) -> tuple[_ByValue, _ByValue]:
        """The places of what events do with a variable, by values that it is moved from, and to."""
        found = self._by_value.get(variable)
        if found is None:
            by_old: _ByValue = defaultdict(list)
            by_new: _ByValue = defaultdict(list)
            for place, move in enumerate(self._packed.moves[variable]):
                for old, new in move.changes:
                    by_new[new].append(place)
                    for value in each_value(old & move.allowed):
                        by_old[value].append(place)
            found = self._by_value[variable] = by_old, by_new
        return found

    def _way(self, event: PackedEvent) -> WayOut:
        way = self._of_event.get(event.number)
        if way is None:
            way = self._of_event[event.number] = (event, event.units)
        return way
