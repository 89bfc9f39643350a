"""The controller as plain immutable data: inputs, what it does at each, and what it puts out.

It has variables of few values, like the machine, and reads nothing else. At an input the
first of the input's reactions whose guard is true takes effect. After it the controller does of
itself what it can: its steps, gone through in their order, again and again until none is
possible. So for one state and one input there is one next state.

What people ask and confirm is refused if no reaction to it is possible. Anything else that comes
in and for which there is none is not explained, and raises the alarm: all signals go to stop,
nothing is thrown, and nothing but a start is taken in. A report that says what the same
section or drive reported last, and the end of a time whose variable has another value by now, say
nothing new and change nothing.

Outputs and timers are read off the variables: a lamp shows what its variable says, a drive
is thrown where it is said to be on its way, a timer runs while its variable has its value.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, NamedTuple

from bellcrank.machine.machine_model import Clause, Variable

InputKind = Literal[
    "occupied",
    "clear",
    "lies",
    "time over",
    "request",
    "cancel",
    "confirm passed",
    "confirm arrived",
]
"""What comes in: a section reported occupied or clear, a drive reported in a position, a
timer that has run out, a route asked for or cancelled, and what a person has seen where
nothing reports it: that the train of a route has passed its signal, that it has arrived whole."""


class Input(NamedTuple):
    """of: the section, drive, route, or the variable whose time is over.
    value: the position that a drive is reported in; of a time that is over, the value of
    the variable that it ran for."""

    kind: InputKind
    of: str
    value: str = ""


@dataclass(frozen=True, slots=True)
class Reaction:
    """What the controller does at an input, or of itself.

    name: unique in its controller.
    text: a sentence for people, without its full stop.
    guard, updates: over the controller's variables alone.
    route: the route on whose account it happens, if there is one.
    """

    name: str
    text: str
    guard: tuple[Clause, ...]
    updates: Mapping[str, Mapping[str, str]]
    route: str | None = None


TimerKind = Literal["approach locking", "overlap", "drive"]


@dataclass(frozen=True, slots=True)
class Timer:
    """A time that begins when a variable comes to have a value, and whose end is an input
    if it has that value still. That of a drive begins when the drive has been thrown after that,
    since a throw may have to wait for its coil and its supply.

    of: the signal, drive or route that it is stated for.
    """

    kind: TimerKind
    of: str
    variable: str
    value: str


@dataclass(frozen=True, slots=True)
class Controller:
    """inputs: the reactions at each input, the first of which that is possible counts.
    steps: what the controller does of itself after each input, in this order.
    """

    variables: Mapping[str, Variable]
    inputs: Mapping[Input, tuple[Reaction, ...]]
    steps: tuple[Reaction, ...]
    timers: tuple[Timer, ...]
