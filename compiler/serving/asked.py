"""What people and programs may ask over HTTP, as types: they are checked by them, and the
description of the interface is made of them."""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec

_Name = Annotated[str, msgspec.Meta(min_length=1, max_length=200)]


class Route(msgspec.Struct, forbid_unknown_fields=True):
    """A route, by its name."""

    route: _Name


class Confirmed(msgspec.Struct, forbid_unknown_fields=True):
    """What somebody has seen: of the train of a route that it has passed its signal, or arrived
    whole where it ends."""

    what: Literal["passed", "arrived"]
    route: _Name


class Thrown(msgspec.Struct, forbid_unknown_fields=True):
    """A drive that somebody has thrown by hand, as was asked."""

    drive: _Name


class Act(msgspec.Struct, forbid_unknown_fields=True):
    """Something done with trains on the simulated railway, or made to fail there."""

    key: _Name


class Nothing(msgspec.Struct, forbid_unknown_fields=True):
    """No more has to be said."""


class Answer(msgspec.Struct):
    """What became of what was asked. told: what was done, or why nothing was, in sentences without
    their full stops."""

    outcome: Literal["done", "refused", "alarm", "nothing new", "noted", "stopped", "started"]
    told: list[str]


class Wrong(msgspec.Struct):
    """Why nothing was taken in, as a sentence without its full stop."""

    error: str


class LogEntry(msgspec.Struct):
    """An entry of the journal. wall: the time of day (ISO 8601). doing: what was to be done, in
    words."""

    number: int
    wall: str
    kind: str
    of: str
    value: str
    who: str
    outcome: str
    told: list[str]
    doing: list[str]


class Log(msgspec.Struct):
    """Entries in their order."""

    entries: list[LogEntry]
