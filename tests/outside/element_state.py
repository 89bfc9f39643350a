"""The states of a railway that is simulated element by element, and what may happen in them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from plain_railway import Way

Kind = Literal[
    "request",
    "cancel",
    "drive arrives",
    "signal clears",
    "time runs out",
    "released by time",
    "section released",
    "route released",
    "moves",
    "tail leaves",
    "turns back",
    "comes in",
    "passes at the edge",
    "put down",
    "stands",
    "taken off",
    "uncoupled",
    "ready to leave",
    "drive slips",
]


class Act(NamedTuple):
    """Something that may happen: to which route or train by number, or thing by name."""

    kind: Kind
    number: int = -1
    name: str = ""


STOP_ASPECT = -1
"""What a signal shows that is not off for a route."""


class PutBack(NamedTuple):
    """Of a signal: that it was off for this route until just now."""

    route: int


class Stage(NamedTuple):
    """How far a route is: `way` while the train of that number is under way, with its front
    on the way of this place, or past them all."""

    name: Literal["idle", "set", "closing", "way"]
    train: int = -1
    place: int = -1


IDLE, SET, CLOSING = Stage("idle"), Stage("set"), Stage("closing")


class Train(NamedTuple):
    """The ways it lies on, its tail first; the edge by which its tail is still outside, and
    whether its front has left by one."""

    body: tuple[Way, ...]
    coming_from: str = ""
    leaving: bool = False


@dataclass(slots=True)
class State:
    """Everything that changes.

    drives: where each lies or is going. moving: those that are being thrown.
    signals: the route for which each is off, STOP_ASPECT, or PutBack.
    accident: of what property, and what has happened.
    standing: elements with vehicles that do not move.
    """

    drives: dict[str, str]
    moving: set[str]
    signals: dict[str, int | PutBack]
    held: dict[str, int]
    stages: list[Stage]
    trains: dict[int, Train]
    accident: tuple[str, str] | None = None
    standing: frozenset[str] = frozenset()

    def copy(self) -> State:
        return State(
            self.drives.copy(),
            self.moving.copy(),
            self.signals.copy(),
            self.held.copy(),
            self.stages.copy(),
            self.trains.copy(),
            self.accident,
            self.standing,
        )

    def key(self) -> tuple[object, ...]:
        """What tells it from other states. Numbers of trains are handed out lowest first."""
        return (
            tuple(self.drives.values()),
            frozenset(self.moving),
            tuple(self.signals.values()),
            tuple(sorted(self.held.items())),
            tuple(self.stages),
            tuple(sorted(self.trains.items())),
            self.standing,
        )


Assumption = Literal[
    "signals obeyed",
    "route ended first",
    "points hold",
    "in the time allowed",
    "put down before a signal",
    "put down on clear track",
    "put down where nothing is held",
    "put down outside overlaps",
    "put down where nothing comes in",
    "stand on clear track",
    "stand where nothing is held",
    "stand outside overlaps",
    "stand where nothing comes in",
    "stand while no points move",
    "vehicles stand",
    "edges ask for clear track",
    "edges ask for what is held",
    "edges ask for overlaps",
    "one at a time from an edge",
    "edges watched",
    "detection tells the truth",
    "operator looks",
    "drives arrive in time",
    "no way back",
]
"""What is taken to be so; each can be dropped."""
