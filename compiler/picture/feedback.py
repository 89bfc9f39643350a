"""Which arcs of a directed graph close its rings: a feedback arc set, as small as it is found.

A search in depth finds one: the arcs that lead back to where it came from (Tarjan, "Depth-first
search and linear graph algorithms", SIAM Journal on Computing 1(2), 1972). In each strongly
connected part in which that takes several, one arc alone and then two are tried, for to find
the least is hard (feedback arc set is one of the 21 problems of Karp, "Reducibility among
combinatorial problems", 1972).
"""

from __future__ import annotations

import itertools
from collections.abc import Hashable, Sequence

import networkx as nx

MOST_IN_PAIRS = 30
"""Arcs of a strongly connected part of which pairs are tried."""

Arc = tuple[Hashable, Hashable]


def feedback_arcs(nodes: Sequence[Hashable], arcs: Sequence[Arc]) -> set[int]:
    """The numbers of some arcs without which no ring is left.

    Of sets equally small, that which the order of nodes and arcs leads to first.
    """
    found = _by_depth(nodes, arcs)
    if len(found) < 2:
        return found
    graph: nx.DiGraph = nx.DiGraph(arcs)
    for part in nx.strongly_connected_components(graph):
        inside = [k for k, (a, b) in enumerate(arcs) if a in part and b in part]
        now = found & set(inside)
        sizes = (1, 2) if len(inside) <= MOST_IN_PAIRS else (1,)
        for size in sizes:
            if len(now) <= size:
                break
            for fewer in itertools.combinations(inside, size):
                rest = [arcs[k] for k in inside if k not in fewer]
                if nx.is_directed_acyclic_graph(nx.DiGraph(rest)):
                    found = found - now | set(fewer)
                    now = set(fewer)
                    break
    return found


def _by_depth(nodes: Sequence[Hashable], arcs: Sequence[Arc]) -> set[int]:
    """The arcs that lead back to where a search in depth came from."""
    onward: dict[Hashable, list[tuple[Hashable, int]]] = {node: [] for node in nodes}
    for number, (one, other) in enumerate(arcs):
        onward[one].append((other, number))
    entered = {other for _, other in arcs}
    back: set[int] = set()
    done: dict[Hashable, bool] = {}
    for root in [*(n for n in nodes if n not in entered), *nodes]:
        if root in done:
            continue
        done[root] = False
        stack = [(root, iter(onward[root]))]
        while stack:
            node, rest = stack[-1]
            step = next(rest, None)
            if step is None:
                done[node] = True
                stack.pop()
                continue
            to, number = step
            if done.get(to) is False:
                back.add(number)
            elif to not in done:
                done[to] = False
                stack.append((to, iter(onward[to])))
    return back
