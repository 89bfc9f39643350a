"""The assumptions that may be broken, by kind, and what may come of it."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from types import MappingProxyType
from typing import Literal, get_args

Breaking = Literal[
    "signal passed at stop",
    "came in unasked",
    "turned back on the way",
    "vehicles left behind",
    "vehicles put down",
    "train taken off",
    "points moved by hand",
    "points did not move",
    "stuck at occupied",
    "stuck at clear",
    "occupied not reported",
    "clear not reported",
    "occupied reported late",
    "occupied reported again",
    "clear reported again",
    "asked without looking",
    "confirmed wrongly",
    "time too short",
]
"""What may be broken: by trains and people, by drives, in reports, in what people say, in times."""

BREAKINGS: tuple[Breaking, ...] = get_args(Breaking)

NOWHERE: Mapping[Breaking, Collection[str]] = MappingProxyType({})
"""No kind is asked of some places alone."""


class NoSuchPlaceError(ValueError):
    """A kind is asked of a place where it cannot be. places: those where it can."""

    def __init__(self, kind: Breaking, name: str, places: Sequence[str]) -> None:
        super().__init__(f"{kind} cannot happen at {name}")
        self.kind = kind
        self.name = name
        self.places = places


AlarmOutcome = Literal["first report", "first report or later", "later", "none", "undecided"]
"""Whether the controller raises the alarm: with the first report that tells of it, always; with
that or a later one, as the report may mean something else just then; if at all, then later, as
no report tells of it by itself; never; or not decided."""

AccidentName = Literal["meetings", "derailments", "drives"]

ACCIDENTS: tuple[AccidentName, ...] = get_args(AccidentName)
"""What must not happen before that: that trains meet, come off the rails, or have points moved
under them."""
