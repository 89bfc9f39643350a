"""Finding the moves: the fewest acts that bring the railway to what is wished.

What counts is what somebody does: a request or a cancellation, a train that comes in, goes on to
the next stretch of track or turns back, vehicles that are uncoupled. What
interlocking, drives, signals and tails do of themselves, and in time, does not count. Nobody is
asked for what only an accident or a signal passed at stop brings about. Vehicles that stand move
once a train has drawn up to them; they are put on the track, lifted off, and made ready to
leave by an engine from nowhere, only where that is allowed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from bellcrank.machine.frame import PUT_BACK, STANDING
from bellcrank.machine.machine_model import Event, EventKind, Is, State
from bellcrank.rehearsal.acts import happens
from bellcrank.rehearsal.expectations import expected
from bellcrank.rehearsal.followed_trains import at_first, with_followed
from bellcrank.rehearsal.goals import all_ways, followed, wished
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.script import Line
from bellcrank.running.shortest_run import Run, Search, Wished

ACCIDENT: frozenset[EventKind] = frozenset(("meets", "derails"))

HANDLED: frozenset[EventKind] = frozenset(("put down", "stands", "taken off", "ready to leave"))
"""By which vehicles, or an engine before them, come from nowhere and go there."""


class NotThereError(ValueError):
    """No train can be followed from where a goal says that it is at first. Its text says why."""


@dataclass(frozen=True, slots=True)
class Finding:
    """A search for moves, ready to be gone on with.

    goal: the ways in which what is wished can hold.
    follows: whether it minds which train is which.
    """

    railway: Railway
    search: Search
    goal: Wished
    follows: bool

    def own_run(self, run: Run) -> tuple[Event, ...]:
        """The events of a run that was found, as the machine has them."""
        own = {event.name: event for event in self.railway.machine.events}
        return tuple(own[event.name] for event in run.events)


def find(
    railway: Railway, start: State, conditions: Sequence[Line], *, by_hand: bool = False
) -> Finding:
    """A search for the fewest acts that lead from a state to where all conditions hold.

    by_hand: whether vehicles may be put on the track, lifted off, and made ready to leave.
    Raises NotThereError, and TooManyWaysError of a goal that says too much at once.
    """
    trains = {
        followed(line.names["START"]): _train_at(railway, start, line.names["START"])
        for line in conditions
        if "START" in line.names
    }
    goal = all_ways(wished(railway, line) for line in conditions)
    events = tuple(may_happen(railway, by_hand=by_hand))
    machine, events = with_followed(railway, events, trains)
    search = Search(
        machine,
        events,
        [number for number, event in enumerate(events) if counts(railway, event)],
        at_first(start, trains),
        goal,
    )
    return Finding(railway, search, goal, bool(trains))


def unsafe_on(railway: Railway, start: State, run: Iterable[Event]) -> str | None:
    """The first thing on a run that must never be, in words; None if there is none. Locking that is
    not proved may let it happen."""
    state = start
    for event in run:
        step = railway.simulator.do(event, state)
        for invariant in step.broken:
            if invariant.of != "rest":
                return invariant.sentence
        state = step.state
    return None


def may_happen(railway: Railway, *, by_hand: bool = False) -> Iterator[Event]:
    """The events that a search may let happen. A signal that has just been put back to stop is
    not passed."""
    for event in railway.machine.events:
        if event.kind in ACCIDENT or (event.kind in HANDLED and not by_hand):
            continue
        signal = railway.signal_passed(event)
        if signal is None:
            yield event
            continue
        variable = railway.machine.variables[railway.variable["signal", signal]]
        shows = Is(variable.name, frozenset(variable.values) - {PUT_BACK})
        yield replace(event, guard=(*event.guard, (shows,)))


def counts(railway: Railway, event: Event) -> bool:
    """Whether an event is something that somebody does."""
    return happens(railway, event) in (None, "front")


def holds_now(railway: Railway, state: State, line: Line) -> bool:
    """Whether a condition of a goal holds, but for which train it is."""
    key = {"came to": "train in", "came before": "train before"}.get(line.key, line.key)
    return expected(railway, state, replace(line, key=key))[0]


def _train_at(railway: Railway, state: State, place: str) -> str:
    """The part of a place from which a train is followed."""
    parts = railway.fronts(place, state)
    parts += [p for p in railway.parts_of[place] if state[railway.track[p]] == STANDING]
    if len(parts) > 1:
        raise NotThereError(f"more than one train is in {place} at first")
    if parts:
        return parts[0]
    if railway.occupied(place, state):
        raise NotThereError(f"the front of the train is not in {place} at first")
    raise NotThereError(f"no train is in {place} at first")
