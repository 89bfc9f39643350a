"""Circuits of track on which tails of trains could wait for each other all round.

A tail leaves a stretch of track once no train reaches in from behind. On a circuit each
stretch may have a train that reaches in from behind, so it has to be shown that the ring
never closes: that somewhere on it there is always a front, a gap, or a tail that can go.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from graphlib import CycleError, TopologicalSorter

from bellcrank.machine.machine_model import Event, Variable

Reaching = tuple[str, str]
"""A track variable, and the value that says that a train reaches from there into the next
stretch, its front beyond."""

Rings = Mapping[Reaching, frozenset[Reaching]]
"""For each tail on a circuit those on the circuit that wait for it, one stretch further."""


def rings_of_tails(variables: Mapping[str, Variable], events: Iterable[Event]) -> Rings:
    """The tails that wait for tails in rings; empty if no track comes back to itself."""
    waiting: dict[Reaching, set[Reaching]] = defaultdict(set)
    for event in events:
        if event.kind != "tail leaves":
            continue
        (name,) = event.updates
        own = [(name, value) for value in event.updates[name]]
        for clause in event.guard:
            for literal in clause:
                if literal.variable != name:
                    for value in variables[literal.variable].values:
                        if value not in literal.values:
                            waiting[literal.variable, value].update(own)
    try:
        TopologicalSorter(waiting).prepare()
    except CycleError:
        return _within_rings(waiting)
    return {}


def _within_rings(waiting: Mapping[Reaching, set[Reaching]]) -> Rings:
    import networkx as nx  # takes its time, and most layouts have no circuit

    graph = nx.DiGraph((node, after) for node, further in waiting.items() for after in further)
    found: dict[Reaching, frozenset[Reaching]] = {}
    for component in nx.strongly_connected_components(graph):
        for node in component:
            further = frozenset(component.intersection(graph[node]))
            if further:
                found[node] = further
    # In the order of the layout.
    return {node: found[node] for node in waiting if node in found}


def full_circuits(
    variables: Mapping[str, Variable], events: Iterable[Event], rings: Rings
) -> tuple[str, ...]:
    """The track of circuits that trains could fill all round, as one that is called on
    draws up to the next without a gap."""
    joining = {
        (name, new)
        for event in events
        if event.kind == "joins"
        for name, becomes in event.updates.items()
        for new in becomes.values()
    }
    if joining.isdisjoint(rings):
        return ()
    return tuple(dict.fromkeys(variables[name].of for name, _ in rings))
