"""From which states a railway can come to rest, found without the prover."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from bellcrank.machine.machine_model import AWAY_FROM_REST, Machine
from bellcrank.running.state_search import Explorer, PackedState


def never_at_rest(machine: Machine, states: Iterable[PackedState]) -> set[PackedState]:
    """Of all states those from which none is reachable in which no route is set, unless
    more vehicles are put down or trains are left standing and taken off."""
    explorer = Explorer(machine, [e for e in machine.events if e.kind not in AWAY_FROM_REST])
    routes = [explorer.place[v.name] for v in machine.variables.values() if v.kind == "route"]
    before = defaultdict(list)
    stuck = set(states)
    for state in stuck:
        for _, following in explorer.successors(state):
            before[following].append(state)
    queue = [state for state in stuck if not any(state[i] for i in routes)]
    while queue:
        state = queue.pop()
        if state in stuck:
            stuck.remove(state)
            queue += before[state]
    return stuck
