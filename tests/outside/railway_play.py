"""Playing a simulated railway: runs at random, and breadth first through few states."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product

from element_properties import wrong
from element_simulator import Simulator
from element_state import Act, Kind, State

KINDS: Mapping[Kind, float] = {
    "request": 4.0,
    "cancel": 0.3,
    "drive arrives": 3.0,
    "signal clears": 3.0,
    "time runs out": 0.5,
    "released by time": 0.5,
    "section released": 2.0,
    "route released": 1.5,
    "moves": 6.0,
    "tail leaves": 4.0,
    "turns back": 0.7,
    "comes in": 1.0,
    "passes at the edge": 1.0,
    "put down": 0.7,
    "stands": 0.3,
    "taken off": 0.5,
    "uncoupled": 0.3,
    "ready to leave": 0.7,
    "drive slips": 0.1,
}
"""How often each is tried."""

LONG_TRAINS = {"tail leaves": 1.0}
HASTY = {"cancel": 1.5, "request": 8.0, "time runs out": 1.5}
CROWDED = {"comes in": 2.0, "put down": 2.0, "turns back": 2.0, "stands": 1.5}
"""What else a run may be like."""


@dataclass
class Played:
    """What was seen: for each property the first run that violates it.

    start: where drives lie at the beginning of that run. steps: acts in all.
    """

    wrong: dict[str, tuple[Mapping[str, str], list[Act], str]] = field(default_factory=dict)
    steps: int = 0
    done: dict[Kind, int] = field(default_factory=dict)


def play(simulator: Simulator, rng: random.Random, steps: int, runs: int) -> Played:
    """Random runs from rest, each so many steps long at most."""
    played = Played()
    for _ in range(runs):
        weights = dict(KINDS)
        for mood in (LONG_TRAINS, HASTY, CROWDED):
            if rng.random() < 0.4:
                weights |= mood
        _run(simulator, rng, steps, weights, played)
    return played


def _run(
    simulator: Simulator,
    rng: random.Random,
    steps: int,
    weights: Mapping[Kind, float],
    played: Played,
) -> None:
    start = {d: rng.choice(positions) for d, positions in simulator.railway.drives.items()}
    state = simulator.start(start)
    acts: list[Act] = []
    kinds, chances = list(weights), list(weights.values())
    tries = 0
    for kind in rng.choices(kinds, chances, k=4 * steps):
        candidates = simulator.candidates(state, kind)
        tries += 1
        if not candidates:
            continue
        act = rng.choice(candidates)
        if not simulator.possible(state, act):
            continue
        state = simulator.after(state, act)
        acts.append(act)
        played.steps += 1
        played.done[kind] = played.done.get(kind, 0) + 1
        for of, what in wrong(simulator, state):
            if of not in played.wrong:
                played.wrong[of] = (start, list(acts), what)
        if state.accident is not None or len(acts) >= steps:
            return


def search(simulator: Simulator, most: int) -> tuple[Played, bool]:
    """Breadth first through the states; whether all were seen."""
    played = Played()
    drives = simulator.railway.drives
    first = [dict(zip(drives, choice, strict=True)) for choice in product(*drives.values())]
    starts = [simulator.start(lies) for lies in first]
    came: dict[tuple[object, ...], tuple[tuple[object, ...] | None, Act | None]] = {
        s.key(): (None, None) for s in starts
    }
    begun = {s.key(): lies for s, lies in zip(starts, first, strict=True)}
    level = starts
    while level:
        further: list[State] = []
        for state in level:
            for act in every_act(simulator, state):
                then = simulator.after(state, act)
                key = then.key()
                if key in came and then.accident is None:
                    continue
                played.steps += 1
                if key not in came:
                    came[key] = (state.key(), act)
                for of, what in wrong(simulator, then):
                    if of not in played.wrong:
                        acts, lies = _run_to(came, begun, state.key())
                        played.wrong[of] = (lies, [*acts, act], what)
                if then.accident is None:
                    further.append(then)
                if len(came) > most:
                    return played, False
        level = further
    return played, True


def _run_to(
    came: Mapping[tuple[object, ...], tuple[tuple[object, ...] | None, Act | None]],
    begun: Mapping[tuple[object, ...], Mapping[str, str]],
    key: tuple[object, ...],
) -> tuple[list[Act], Mapping[str, str]]:
    acts: list[Act] = []
    while True:
        before, act = came[key]
        if before is None or act is None:
            return acts[::-1], begun[key]
        acts.append(act)
        key = before


def every_act(simulator: Simulator, state: State) -> list[Act]:
    """All that may happen in a state."""
    return [
        act
        for kind in KINDS
        for act in simulator.candidates(state, kind)
        if simulator.possible(state, act)
    ]


def replay(
    simulator: Simulator, start: Mapping[str, str], acts: Sequence[Act]
) -> tuple[State, Act | None]:
    """The state after some acts, and the first that could not be done."""
    state = simulator.start(dict(start))
    for act in acts:
        if not simulator.possible(state, act):
            return state, act
        state = simulator.after(state, act)
    return state, None
