"""From which states a railway can come to rest, found without the prover."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from bellcrank.machine.machine_model import AWAY_FROM_REST, Machine, after, possible
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


def comes_to_rest(machine: Machine, states: Iterable[PackedState]) -> bool:
    """Whether from every state one is reachable in which no route is set; of those in which
    trains fill a circuit, only if nobody assumes that they do not."""
    left = never_at_rest(machine, states)
    if "no full circuit" in machine.assumptions:
        explorer = Explorer(machine)
        left = {state for state in left if not filled(explorer, state)}
    return not left


def filled(explorer: Explorer, state: PackedState) -> bool:
    """Whether tails wait for each other all round a circuit: none of them is left if
    each that nothing reaches into leaves, again and again."""
    machine = explorer.machine
    tails = [event for event in machine.events if event.kind == "tail leaves"]
    now = explorer.unpack(state)
    moved = True
    while moved:
        moved = False
        for event in tails:
            if possible(event, now):
                now, moved = after(event, now), True
    own = {(name, value) for e in tails for name, becomes in e.updates.items() for value in becomes}
    return any((name, now[name]) in own for name in now)
