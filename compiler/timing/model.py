"""A timetable: commands, each with the time at which it is sent."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from bellcrank.machine.commands import Command

What = Literal["set", "cancel", "start up"]
"""What a timetable does: sets a route, cancels one, or brings the layout to its normal
position from one that is not known."""


@dataclass(frozen=True, slots=True)
class Timed:
    """A command and its time. at, until: milliseconds from the start; until then the
    drive moves, or its coil is on. Without a limit both are the same."""

    at: int
    until: int
    command: Command


@dataclass(frozen=True, slots=True)
class Timetable:
    """Commands in the order of their times.

    of: the route; empty for the start-up of the layout.
    total: milliseconds until the last is done and all drives are taken to lie.
    bound: milliseconds below which no timetable within the limits can be.
    """

    what: What
    of: str
    commands: tuple[Timed, ...]
    total: int
    bound: int
