"""The rows of a log of what was sent: how each is written, and how it is read again.

A log has one row a line, each a JSON object (RFC 8259; "JSON Lines"), with its time as
RFC 3339 has it, with the offset from UTC. What is known of a row stands in its fields and
in no sentence.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import datetime
from functools import partial
from typing import Any, Literal, cast, get_args

Fate = Literal[
    "sent",
    "put to stop",
    "by hand",
    "in doubt",
    "not sent",
    "not put to stop",
    "switched off",
    "not switched off",
]
"""What became of a command. `put to stop`: sent for it, after all was broken off; `by
hand`: somebody was told to; `in doubt`: it may have arrived or not; `switched off`: what ends
the pulse of its coil was sent; `not switched off`: that could not be done."""


@dataclass(frozen=True, slots=True)
class Begun:
    """A run begins. what: as `set W1 to T1`; status: of the layout, such as `UNPROVED`.

    does: what it does, such as `set`, and route: which route, where it is for one; None in logs
        of older versions.
    """

    what: str
    to: str
    target: str
    status: str
    source: tuple[str, ...]
    sha256: str
    version: str
    notice: str
    does: str | None = None
    route: str | None = None


@dataclass(frozen=True, slots=True)
class Rested:
    """A run waits, because else a limit would be broken."""

    milliseconds: int
    because: str


@dataclass(frozen=True, slots=True)
class Commanded:
    """A command, and what became of it. topic, text: what was sent or would have been."""

    fate: Fate
    device: str
    name: str
    state: str
    topic: str | None = None
    text: str | None = None


@dataclass(frozen=True, slots=True)
class Answered:
    """Somebody was asked whether something is so."""

    confirmed: bool
    name: str
    state: str
    question: str


@dataclass(frozen=True, slots=True)
class Ended:
    """A run has ended: the last row of each. how: its ending; why: in sentences."""

    how: str
    why: str


Row = Begun | Rested | Commanded | Answered | Ended

_KINDS: dict[str, type[Row]] = {
    "begun": Begun,
    "rested": Rested,
    "answered": Answered,
    "ended": Ended,
}
_FATES = frozenset(get_args(Fate))


@dataclass(frozen=True, slots=True)
class Entry:
    """A row and its time, which knows its zone."""

    time: datetime
    row: Row


class DamagedRowError(ValueError):
    """A line that is not a row."""


def written(entry: Entry) -> str:
    """The line of an entry, with its end."""
    fields = asdict(entry.row)
    kind = (
        fields.pop("fate")
        if isinstance(entry.row, Commanded)
        else next(word for word, of in _KINDS.items() if isinstance(entry.row, of))
    )
    given = {name: value for name, value in fields.items() if value is not None}
    time = entry.time.isoformat(timespec="milliseconds")
    return json.dumps({"time": time, "row": kind, **given}, ensure_ascii=False) + "\n"


def read(line: str) -> Entry:
    """The entry that a line was written for. Raises DamagedRowError."""
    try:
        fields = json.loads(line)
        time = datetime.fromisoformat(fields.pop("time"))
        return Entry(_with_zone(time), _row(fields.pop("row"), fields))
    except (ValueError, TypeError, AttributeError, KeyError, RecursionError) as error:
        raise DamagedRowError from error


def _with_zone(time: datetime) -> datetime:
    if time.tzinfo is None:
        raise ValueError("no offset")
    return time


def _row(kind: str, fields: dict[str, Any]) -> Row:
    if kind == "begun":
        fields["source"] = tuple(fields["source"])
    made = partial(Commanded, cast(Fate, kind)) if kind in _FATES else _KINDS[kind]
    row = made(**fields)
    _check(row)
    return row


_TEXTS = ("device", "name", "state", "how", "why", "what")


def _check(row: Row) -> None:
    """Raise ValueError unless what others rely on is of its type."""
    if any(not isinstance(getattr(row, name, ""), str) for name in _TEXTS):
        raise ValueError("no text")
    if any(not isinstance(getattr(row, name, None), str | None) for name in ("does", "route")):
        raise ValueError("neither a text nor nothing")
