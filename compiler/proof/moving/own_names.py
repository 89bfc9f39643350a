"""An obligation built out of the names of its own place.

Most obligations take over from a place that is alike which clauses help (`symmetry.py`).
Whether they do is not taken on trust where every obligation is to be looked at one by one:
here its question is made of its own event, its own goal and the clauses that help by their
numbers, so that it owes nothing to the place that was like it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from bellcrank.running.packed import PackedClause, PackedEvent, before


def false_after(event: PackedEvent, goal: PackedClause, full: Sequence[int]) -> list[PackedClause]:
    """That a goal is false after an event, as clauses on the state before it: each of its
    variables was elsewhere."""
    return [((v, full[v] & ~before(event, v, mask)),) for v, mask in goal]


def own_question(
    event: PackedEvent,
    goal: PackedClause | None,
    helping: Iterable[PackedClause],
    full: Sequence[int],
) -> list[PackedClause]:
    """What cannot all be true together: the guard of the event, the clauses that help, and
    that the goal is false afterwards.

    goal: None where the event is to be impossible.
    """
    question: list[PackedClause] = []
    if goal is not None:
        question += false_after(event, goal, full)
    question += [(literal,) for literal in event.conditions]
    return [*question, *event.guard, *helping]
