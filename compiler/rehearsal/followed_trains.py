"""Where trains have got to that were somewhere at first: a variable of its own for each.

The machine does not tell one train from another, and need not. Who asks how the train in T1 gets
elsewhere means that train. So to the machine is added, for each train that is asked for, in which
part of the track its front is: it goes on with each event that takes a front from there, and no
event depends on it. Where an engine leaves vehicles, what is followed is what the front is of;
vehicles that stand somewhere at first are followed as well, once they leave.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from bellcrank.machine.machine_model import Event, Machine, State, Variable
from bellcrank.rehearsal.railway import FRONT, Railway

LOST = "not on the layout"
"""Of a train that has left by an edge or was taken off."""


def with_followed(
    railway: Railway, events: Sequence[Event], trains: Mapping[str, str]
) -> tuple[Machine, tuple[Event, ...]]:
    """The machine with a variable for each train that is followed, and its events with what they
    do to it.

    trains: for each variable by its name the part in which the front is at first.
    """
    machine = railway.machine
    if not trains:
        return machine, tuple(events)
    parts = tuple(railway.track)
    added = {
        name: Variable(name, "track", name, (*parts, LOST), (at,)) for name, at in trains.items()
    }
    moved = tuple(_moving(railway, event, added) for event in events)
    return replace(machine, variables={**machine.variables, **added}, events=moved), moved


def at_first(state: State, trains: Mapping[str, str]) -> State:
    """A state of the machine, with where each followed train is."""
    return {**state, **trains}


def _moving(railway: Railway, event: Event, added: Iterable[str]) -> Event:
    """An event that takes with it the trains that are followed."""
    moved = _from_and_to(railway, event)
    if moved is None:
        return event
    came, to = moved
    return replace(event, updates={**event.updates, **{name: {came: to} for name in added}})


def _from_and_to(railway: Railway, event: Event) -> tuple[str, str] | None:
    """From which part to which an event takes a front."""
    if event.kind in ("taken off", "tail leaves"):
        return event.of, LOST
    if event.kind not in FRONT:
        return None
    left = railway.part_left_by(event)
    if left is None:
        return None  # it comes from outside
    return left, railway.front_after(event) if event.of in railway.track else LOST
