"""Breadth-first search: each state once, the nearest first, and a shortest path to each."""

from __future__ import annotations

from itertools import product
from random import Random

import pytest

from bellcrank.running.reachability import Seen, breadth_first, path_to

Graph = dict[int, list[tuple[str, int]]]


def some_graph(seed: int) -> Graph:
    random = Random(seed)
    return {
        n: [(f"{n}>{m}", m) for m in random.sample(range(12), random.randint(0, 3))]
        for n in range(12)
    }


def distances(graph: Graph, start: int) -> dict[int, int]:
    """By Floyd and Warshall, which look at no state before another."""
    far = {(n, m): 0 if n == m else 99 for n, m in product(graph, repeat=2)}
    far |= {(n, m): min(1, far[n, m]) for n, steps in graph.items() for _, m in steps}
    for k, n, m in product(graph, repeat=3):
        far[n, m] = min(far[n, m], far[n, k] + far[k, m])
    return {m: far[start, m] for m in graph if far[start, m] < 99}


@pytest.mark.parametrize("seed", range(20))
def test_every_reachable_state_comes_once_and_by_a_shortest_path(seed: int) -> None:
    graph = some_graph(seed)
    seen: Seen[int, str] = {}
    order = list(breadth_first([0], graph.__getitem__, seen))
    far = distances(graph, 0)
    assert sorted(order) == sorted(far)
    assert [far[n] for n in order] == sorted(far.values())
    for state in order:
        start, steps = path_to(seen, state)
        assert (start, len(steps)) == (0, far[state])
        here = start
        for step in steps:
            here = dict(graph[here])[step]
        assert here == state


def test_who_has_enough_stops_and_nothing_more_is_looked_at() -> None:
    asked: list[int] = []

    def following(n: int) -> list[tuple[str, int]]:
        asked.append(n)
        return [("next", n + 1)]

    for state in breadth_first([0], following, {}):
        if state == 3:
            break
    assert asked == [0, 1, 2]


def test_what_was_seen_before_is_not_looked_at_again() -> None:
    seen: Seen[int, str] = {1: None}
    assert list(breadth_first([0, 1], lambda n: [("", 1), ("", 2)], seen)) == [0, 2]
