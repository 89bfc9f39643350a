"""Long random runs of a machine of which not all states can be looked at.

A search of the nearest states sees what little trains can do in a few events. Random runs
(random simulation) see less of the states, but go far: trains come in, pass through and leave
while other routes are set. The events in which a fault is get their turn often.
"""

from __future__ import annotations

import random
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from typing import NamedTuple

from bellcrank.machine.machine_model import Event, Machine
from bellcrank.running.state_search import Explorer, PackedState, violated


@dataclass(frozen=True, slots=True)
class Runs:
    """How many there are, of how many events each."""

    count: int = 40
    events: int = 60
    seed: int = 1


class Step(NamedTuple):
    run: tuple[Event, ...]
    state: PackedState


def steps(explorer: Explorer, often: Collection[str], runs: Runs) -> Iterator[Step]:
    """The states of random runs, each with the events that led to it."""
    chance = random.Random(runs.seed)
    starts = list(explorer.initial())
    events = explorer.events
    for _ in range(runs.count):
        state = chance.choice(starts)
        run: list[Event] = []
        for _ in range(runs.events):
            following = explorer.successors(state)
            if not following:
                break
            # Requests are many, and would else leave the trains standing.
            wanted = [f for f in following if events[f[0]].name in often]
            if not wanted or chance.random() < 0.5:
                actor = chance.choice(sorted({events[n].actor for n, _ in following}))
                wanted = [f for f in following if events[f[0]].actor == actor]
            number, state = chance.choice(wanted)
            run.append(events[number])
            yield Step(tuple(run), state)


def contradicted(
    machine: Machine, proved: Collection[str], often: Iterable[str], runs: Runs
) -> str:
    """A run that violates what is proved, in words; empty if there was none. Coming to rest is
    not looked at, as no single state shows it."""
    explorer = Explorer(machine)
    tests = {n: t for n, t in violated(explorer, machine).items() if n in proved and n != "rest"}
    for run, state in steps(explorer, frozenset(often), runs):
        for name, is_violated in tests.items():
            if is_violated(state):
                return f"{name} is proved, and violated by {[e.name for e in run]}"
    return ""
