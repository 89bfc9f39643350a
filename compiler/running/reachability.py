"""Breadth-first search: everything reachable from some states, the nearest first.

E. F. Moore, "The shortest path through a maze", 1959. The states are whatever may be
the key of a dictionary; how one leads to others is handed in.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

S = TypeVar("S")
"""A state."""

L = TypeVar("L")
"""What labels a step from a state to the next."""

Seen = dict[S, tuple[S, L] | None]
"""For every state reached the state before it and the step; None where a search began."""


def breadth_first(
    starts: Iterable[S],
    following: Callable[[S], Iterable[tuple[L, S]]],
    seen: Seen[S, L],
) -> Iterator[S]:
    """Every reachable state that is not in `seen`, once, and put there when it is given out.

    The states are made as they are asked for, so whoever has enough just stops.
    """
    frontier: list[S] = []
    for state in starts:
        if state not in seen:
            seen[state] = None
            frontier.append(state)
            yield state
    while frontier:
        next_frontier: list[S] = []
        for state in frontier:
            for label, then in following(state):
                if then not in seen:
                    seen[then] = (state, label)
                    next_frontier.append(then)
                    yield then
        frontier = next_frontier


def path_to(seen: Seen[S, L], state: S) -> tuple[S, tuple[L, ...]]:
    """Where a search began and the steps by which it reached a state, a shortest path."""
    labels = []
    while (before := seen[state]) is not None:
        state, label = before
        labels.append(label)
    return state, tuple(reversed(labels))
