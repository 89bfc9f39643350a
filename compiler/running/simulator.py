"""The machine, one event at a time: a state in, a state out.

Looks up what the machine says and knows no rule of its own. Nothing here reads
or prints a text; what a script means is settled in `script.py` and `acts.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from bellcrank.machine.machine_model import (
    Clause,
    Event,
    Invariant,
    Machine,
    State,
    changes,
    holds,
    possible,
)
from bellcrank.running.lookup import ByNarrowest, ByVariable
from bellcrank.running.reasons import why_not

ACCIDENTS = frozenset(("meetings", "derailments"))
"""The properties whose violation is an accident; that of any other is a breach."""


class NotPossibleError(ValueError):
    """An event was to happen that may not."""


@dataclass(frozen=True, slots=True)
class Step:
    """An event that happened.

    state: the state after it.
    broken: what must always hold and has become false with it.
    """

    event: Event
    state: State
    broken: tuple[Invariant, ...]


class Simulator:
    """A machine made ready to be stepped. It holds no state; states are handed in and out."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self._events = ByNarrowest(machine.events)
        self._stated = ByVariable(i.clause for i in machine.invariants)

    def possible(self, state: State) -> list[Event]:
        """Every event that may happen in a state, in the machine's order."""
        numbers = self._events.worth_looking_at(state.items())
        events = (self.machine.events[number] for number in numbers)
        return [event for event in events if possible(event, state)]

    def do(self, event: Event, state: State) -> Step:
        """Let an event happen. Raises NotPossibleError if it may not."""
        changed = _changed_by(event, state, self.machine)
        following = {**state, **changed}
        touched = dict.fromkeys(n for v in changed for n in self._stated.naming(v))
        stated = (self.machine.invariants[number] for number in touched)
        broken = [
            invariant
            for invariant in stated
            if not holds(invariant.clause, following) and holds(invariant.clause, state)
        ]
        return Step(event, following, tuple(broken))

    def broken(self, state: State) -> tuple[Invariant, ...]:
        """All that must always hold and does not in a state."""
        return tuple(i for i in self.machine.invariants if not holds(i.clause, state))


def replay(machine: Machine, run: Sequence[Event], start: State | None = None) -> tuple[State, ...]:
    """The states that a run of events leads through, the first one included.

    start: where it begins; if not said, the first state of the machine's from which
        the run is possible.
    Raises NotPossibleError if an event of the run is not possible.
    """
    if start is None:
        start = start_of(machine, run)
    states: list[State] = [machine.start() if start is None else dict(start)]
    for number, event in enumerate(run, start=1):
        state = states[-1]
        try:
            states.append({**state, **_changed_by(event, state, machine)})
        except NotPossibleError as error:
            raise NotPossibleError(f"event {number} of the run is {error}") from None
    return tuple(states)


def _changed_by(event: Event, state: State, machine: Machine) -> dict[str, str]:
    if not possible(event, state):
        reasons = "; ".join(why_not(event, state, machine.variables))
        raise NotPossibleError(f"not possible: {event.text} ({reasons})")
    return changes(event, state)


def start_of(machine: Machine, run: Iterable[Event]) -> State | None:
    """A state in which the machine may start and from which a run is possible, or None.

    The machine may start with its drives lying anyhow. What a variable comes to
    depends on its own first value and the events alone, so each guard on the way is
    a condition on first values.
    """
    now = {name: {v: v for v in variable.initial} for name, variable in machine.variables.items()}
    wanted: list[list[tuple[str, frozenset[str]]]] = []
    for event in run:
        for clause in event.guard:
            wanted += _of_first_values(clause, now)
        for name, becomes in event.updates.items():
            now[name] = {first: becomes.get(value, value) for first, value in now[name].items()}
    allowed = {name: variable.initial for name, variable in machine.variables.items()}
    found = _meeting(wanted, allowed)
    return None if found is None else {name: firsts[0] for name, firsts in found.items()}


def _of_first_values(
    clause: Clause, now: Mapping[str, Mapping[str, str]]
) -> list[list[tuple[str, frozenset[str]]]]:
    """A clause as a choice of first values; nothing if it is true whatever they are."""
    choices = []
    for literal in clause:
        values = now[literal.variable]
        firsts = frozenset(first for first, value in values.items() if value in literal.values)
        if len(firsts) == len(values):
            return []
        if firsts:
            choices.append((literal.variable, firsts))
    return [choices]


def _meeting(
    wanted: Sequence[list[tuple[str, frozenset[str]]]], allowed: Mapping[str, tuple[str, ...]]
) -> Mapping[str, tuple[str, ...]] | None:
    """First values that meet one choice of each, or None."""
    for index, choices in enumerate(wanted):
        if any(firsts.issuperset(allowed[name]) for name, firsts in choices):
            continue
        for name, firsts in choices:
            left = tuple(value for value in allowed[name] if value in firsts)
            if left:
                found = _meeting(wanted[index + 1 :], {**allowed, name: left})
                if found is not None:
                    return found
        return None
    return allowed
