"""What was shown of clauses before an event that changes nothing, taken over for the event that is
like it a stretch further on.

Such events ask whether a controller does what the machine alone may do (`controller/following.py`):
each has clauses that are to be true whenever it is possible. Along a line of stations there are
thousands of them, which differ in names only. `recurring.py` has a renaming r that gives no two
variables one name, and each new name stands for a variable of the same values. So let the guard of
an event e with r in place of its names be the guard of an event e', word for word, and the clauses
asked at e so become those asked at e'. If clauses H were brought in at e, and those of their words
renamed are here and stand, the obligation at e' with them is that at e with other names: the guard,
what helps, and the clause being false, all before the event, as it changes nothing. The question
that a solver answered names nothing, and has the shape of both. Nothing has to be known of other
events here, as nothing is said of the state after one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from types import MappingProxyType

from bellcrank.proof.moving.findings import Findings
from bellcrank.proof.moving.recurring import Recurring
from bellcrank.running.packed import PackedClause, PackedEvent

Premises = Mapping[int, Sequence[int]]
"""Clauses, by their numbers, that are to be true whenever the event of a number is possible."""

NO_PREMISES: Premises = MappingProxyType({})

Helping = dict[int, Sequence[int]]
"""What helped to show each of the clauses of one event."""


class AskedAlong:
    """Events that change nothing, with clauses to be true before them, along a line.

    first: those to be examined. next: of some events the one a stretch further on, as long as it
        is to be shown.
    """

    def __init__(self, line: Recurring, asked: Premises) -> None:
        self.line = line
        self.asked = asked
        self.next = self._next()
        later = set(self.next.values())
        self.first = [event for event in asked if event not in later]
        self._shown: defaultdict[int, Helping] = defaultdict(dict)

    def examined(self) -> Premises:
        """What is to be examined before anything is taken over."""
        return {event: self.asked[event] for event in self.first}

    def left(self) -> Premises:
        """What is still to be examined."""
        return {event: self.asked[event] for event in (*self.first, *self.next.values())}

    def note(self, found: Findings) -> None:
        """Note what was found at events after which others come."""
        for places in found.shapes.values():
            for goal, event in zip(places[::2], places[1::2], strict=True):
                if event in self.next:
                    self._shown[event].setdefault(goal, ())
        for goal, event, group in found.leans():
            if event in self.next:
                self._shown[event][goal] = group

    def taken_over(self) -> Findings:
        """What may be taken over of what was noted, when the solver has decided. Where it may not,
        the event is among the first from then on."""
        taken = Findings()
        first = []
        for begin in self.first:
            event = begin
            while event in self.next:
                shown, after = self._shown.pop(event, {}), self.next.pop(event)
                renamed = self._taken_on(event, shown, after)
                if renamed is None:
                    first.append(after)
                    break
                for goal, helping in renamed.items():
                    taken.take_over_at(after, goal, helping)
                self._shown[after] = renamed
                event = after
        self.first = first
        return taken

    def _taken_on(self, event: int, shown: Helping, after: int) -> Helping | None:
        """What was shown at an event, for the one a stretch further on."""
        found: Helping = {}
        for goal, its in zip(self.asked[event], self.asked[after], strict=True):
            if goal not in shown:
                return None
            helping = self.line.images(shown[goal])
            if -1 in helping:
                return None
            found[its] = helping
        return found

    def _next(self) -> dict[int, int]:
        events = self.line.packed.events
        by_words: dict[_Words, int] = {}
        for event in self.asked:
            if not events[event].changes:
                by_words.setdefault(_words(events[event]), event)
        found: dict[int, int] = {}
        taken: set[int] = set()
        for event in self.asked:
            words = self._renamed(_words(events[event]))
            other = -1 if words is None else by_words.get(words, -1)
            if other in (-1, event) or other in taken or not self._ask_alike(event, other):
                continue
            found[event] = other
            taken.add(other)
        return found

    def _ask_alike(self, event: int, other: int) -> bool:
        """Whether two events are asked for the same clauses, renamed."""
        clauses = self.line.clauses.clauses
        mine = self._renamed(tuple([clauses[goal] for goal in self.asked[event]]))
        return mine == tuple([clauses[goal] for goal in self.asked[other]])

    def _renamed(self, words: _Words) -> _Words | None:
        """Clauses with other names; None where there are none for them."""
        to = self.line.renaming.to
        found = tuple([tuple([(to[v], mask) for v, mask in clause]) for clause in words])
        return None if any(v < 0 for clause in found for v, _ in clause) else found


_Words = tuple[PackedClause, ...]


def _words(event: PackedEvent) -> _Words:
    """All that an event asks, in its order."""
    return (event.conditions, *event.guard)
