"""Several events, one after the other, as one event.

Each update makes a variable's new value of its old one alone, so what a guard asks after an event
is again a clause over the values before it: its weakest precondition (E. W. Dijkstra, "Guarded
commands, nondeterminacy and formal derivation of programs", 1975).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from bellcrank.machine.machine_model import Clause, Event, Is, Variable


def in_one(events: Sequence[Event], variables: Mapping[str, Variable], name: str) -> Event | None:
    """An event that does what these do, in this order; None if they can never follow each other.

    It is called `name`; all else is as of the last of them.
    """
    updates: dict[str, dict[str, str]] = {}
    guard: dict[Clause, None] = {}
    for event in events:
        for clause in event.guard:
            before = _before(clause, updates, variables)
            if before == ():
                return None
            if before is not None:
                guard[before] = None
        for variable, becomes in event.updates.items():
            known = updates.get(variable, {})
            values = variables[variable].values
            new = {v: becomes.get(known.get(v, v), known.get(v, v)) for v in values}
            updates[variable] = {v: after for v, after in new.items() if v != after}
    return replace(events[-1], name=name, guard=tuple(guard), updates=updates)


def _before(
    clause: Clause, updates: Mapping[str, Mapping[str, str]], variables: Mapping[str, Variable]
) -> Clause | None:
    """What must be so before the updates, so that a clause is true after them; None if nothing
    need be."""
    found = []
    for variable, wanted in clause:
        becomes = updates.get(variable, {})
        values = variables[variable].values
        before = frozenset(v for v in values if becomes.get(v, v) in wanted)
        if len(before) == len(values):
            return None
        if before:
            found.append(Is(variable, before))
    return tuple(found)
