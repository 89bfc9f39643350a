"""The shortest run of events to a state in which something is wrong: a counterexample.

A story is looked for in the machine itself, first among all its events, then, if
it has too many states, among the events of a few routes at a time: those that the
open obligations name. Each time vehicles that stand are left out at first: a story without
them says more about the locking. Whatever is found is a run of the whole machine, and it
is replayed, event by event, before anybody is told of it.
"""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from bellcrank.diagnostics import Span
from bellcrank.machine.machine_model import BY_HAND, Clause, Event, Is, Machine, holds
from bellcrank.running.simulator import NotPossibleError, replay
from bellcrank.running.state_search import Explorer, Found, Test, violated

MOST_STATES = 60_000
"""States of the whole machine that are looked at before events are left out."""

MOST_STATES_OF_FEW = 120_000
"""States looked at with the events of a few routes."""


@dataclass(frozen=True, slots=True)
class Telling:
    """One step of a story: a sentence, and the place in the source of what acts."""

    sentence: str
    span: Span | None
    event: str


@dataclass(frozen=True, slots=True)
class Story:
    """How a property comes to be violated.

    steps: events in their order, from rest. ending: what is wrong after the last.
    start: the drives that do not lie in their first position at the start, and where
        they lie.
    shortest: whether no run of the whole machine is shorter; else the shortest with
        its routes alone. If nobody handles vehicles that stand in it, of all runs in
        which nobody does.
    """

    of: str
    steps: tuple[Telling, ...]
    ending: str
    start: tuple[tuple[str, str], ...]
    shortest: bool


class NotReplayedError(AssertionError):
    """A run that was found cannot be replayed: a fault of this program."""


def tell(
    machine: Machine,
    of: str,
    run: Sequence[Event],
    start: Mapping[str, str],
    shortest: bool,
    otherwise: str | None = None,
) -> Story:
    """Replay a run from a state at the start and tell it.

    otherwise: what is wrong at its end if no clause is false there.
    Raises NotReplayedError if an event was not possible or nothing is wrong at the end.
    """
    first = machine.start()
    for name, variable in machine.variables.items():
        if start[name] not in variable.initial:
            raise NotReplayedError(f"{name} cannot be {start[name]} at the start")
    try:
        state = replay(machine, run, start)[-1]
    except NotPossibleError as error:
        raise NotReplayedError(str(error)) from error
    wrong = [i.sentence for i in machine.invariants if i.of == of and not holds(i.clause, state)]
    if otherwise is not None:
        wrong.append(otherwise)
    if not wrong:
        raise NotReplayedError(f"nothing is wrong with {of} at the end")
    return Story(
        of,
        tuple(Telling(e.text, e.span, e.name) for e in run),
        wrong[0],
        tuple(
            (machine.variables[name].of, value)
            for name, value in start.items()
            if value != first[name]
        ),
        shortest,
    )


def _tests(
    explorer: Explorer, machine: Machine, wanted: Iterable[str], trapped: Test
) -> dict[str, Test]:
    """Tests of what would refute some properties. That a clause of `rest` is false refutes
    it only where the railway can then never come to rest."""
    wanted = set(wanted)
    tests = {name: test for name, test in violated(explorer, machine).items() if name in wanted}
    wrong = tests.get("rest")
    if wrong is not None:
        tests["rest"] = lambda state: wrong(state) and trapped(state)
    return tests


def whole_search(
    machine: Machine,
    wanted: Iterable[str],
    trapped: Test,
    most: int,
    deadline: float | None,
    progress: Callable[[str], None],
    *,
    by_hand: bool,
) -> tuple[Explorer, Found]:
    """Search the whole machine for violations of some properties.

    trapped: whether the railway never comes to rest from a state on.
    by_hand: as in `events_of`.
    """

    def tell(states: int) -> None:
        progress(f"looking for a story: {states:,} states")

    explorer = Explorer(machine, events_of(machine, by_hand=by_hand))
    tests = _tests(explorer, machine, wanted, trapped)
    return explorer, explorer.search(tests, most, deadline, tell=tell)


def stories_of(
    machine: Machine, explorer: Explorer, found: Found, shortest: bool
) -> Iterator[Story]:
    """The stories of all runs that a search found."""
    for name, run in found.runs.items():
        start = explorer.unpack(found.starts[name])
        yield tell(machine, name, run, start, shortest)


def events_of(machine: Machine, *, by_hand: bool) -> Sequence[Event]:
    """The events of a machine. by_hand: with those by which people handle vehicles that
    stand."""
    if by_hand:
        return machine.events
    return [event for event in machine.events if event.kind not in BY_HAND]


def restricted(
    machine: Machine,
    routes: Collection[str],
    near: Mapping[str, frozenset[str]],
    beside: Collection[str] = (),
    *,
    by_hand: bool = False,
) -> list[Event]:
    """The events of some routes, and those of trains on the track near them, and on some
    stretches beside.

    near: as `track_near` has it. by_hand: as in `events_of`.
    """
    parts = frozenset(beside).union(*(near.get(route, frozenset()) for route in routes))
    kept = []
    for event in events_of(machine, by_hand=by_hand):
        if event.route is not None:
            if event.route in routes:
                kept.append(event)
            continue
        tracks = [
            machine.variables[name].of
            for name in event.updates
            if machine.variables[name].kind == "track"
        ]
        if tracks:
            if parts.issuperset(tracks):
                kept.append(event)
        else:
            kept.append(event)
    return kept


@dataclass(frozen=True, slots=True)
class Choice:
    """A few routes, and track beside their ways, to look for a story with."""

    routes: frozenset[str]
    parts: frozenset[str]


def look_with(
    machine: Machine,
    wanted: Iterable[str],
    trapped: Test,
    choices: Sequence[Choice],
    near: Mapping[str, frozenset[str]],
    deadline: float | None,
    progress: Callable[[str], None],
    most: int = MOST_STATES_OF_FEW,
    *,
    by_hand: bool = False,
) -> dict[str, Story]:
    """The shortest story found for each property with any of the choices.

    most: states looked at with each choice.
    by_hand: as in `events_of`.
    """
    best: dict[str, Story] = {}
    wanted = set(wanted)
    for number, choice in enumerate(choices, start=1):
        if deadline is not None and time.monotonic() > deadline:
            break
        progress(f"looking for a story ({number} of {len(choices)})")
        events = restricted(machine, choice.routes, near, choice.parts, by_hand=by_hand)
        explorer = Explorer(machine, events)
        tests = _tests(explorer, machine, wanted, trapped)
        usual = [explorer.pack(machine.start())]
        found = explorer.search(tests, most, deadline, starts=usual)
        for story in stories_of(machine, explorer, found, shortest=False):
            known = best.get(story.of)
            if known is None or len(story.steps) < len(known.steps):
                best[story.of] = story
    return best


def track_near(machine: Machine) -> dict[str, frozenset[str]]:
    """For each route the stretches of track that its train's events touch, and those
    of trains that wait at its signal."""
    near: dict[str, set[str]] = defaultdict(set)
    for event in machine.events:
        if event.route is None:
            continue
        for name in event.updates:
            if machine.variables[name].kind == "track":
                near[event.route].add(machine.variables[name].of)
        for clause in event.guard:
            for literal in clause:
                variable = machine.variables[literal.variable]
                if variable.kind == "track":
                    near[event.route].add(variable.of)
    # A train that is on a route's way goes on by events that no route owns.
    stages: dict[str, list[Event]] = defaultdict(list)
    for event in machine.events:
        if event.route is None:
            for name in event.updates:
                if machine.variables[name].kind == "route":
                    stages[machine.variables[name].of].append(event)
    for route, events in stages.items():
        for event in events:
            for name in event.updates:
                if machine.variables[name].kind == "track":
                    near[route].add(machine.variables[name].of)
    return {route: frozenset(parts) for route, parts in near.items()}


def choice_from(machine: Machine, clause: Clause, event: Event | None) -> Choice:
    """The routes and the track that an open obligation names."""
    routes: set[str] = set()
    parts: set[str] = set()
    literals = list(clause)
    if event is not None:
        if event.route is not None:
            routes.add(event.route)
        literals += [Is(name, frozenset()) for name in event.updates]
    for literal in literals:
        variable = machine.variables[literal.variable]
        if variable.kind == "route":
            routes.add(variable.of)
        elif variable.kind == "signal" and len(variable.values) - len(literal.values) == 1:
            # "This signal is not off for that route": the one value that is left out.
            routes |= set(variable.values) - literal.values
        elif variable.kind == "track":
            parts.add(variable.of)
    return Choice(
        frozenset(r for r in routes if ("route", r) in machine.variable_of), frozenset(parts)
    )
