"""Identifiers of events (NMRA S-9.7.0.3) that stay the same while a layout grows.

Each command and each report is an event with an identifier of its own, and nodes are told it once.
So what each has is kept in a file beside the layout, a line each, `read_pinned`; what is new gets
the numbers behind the highest that was ever given, `completed`; and no line is ever taken out, so
that the number of what is gone is not used again.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal, NamedTuple

from bellcrank.diagnostics import Collector, Diagnostic, Span, did_you_mean
from bellcrank.document.detector_types import CancelButton, DriveReport, PlaceButton, RouteButton
from bellcrank.document.detector_types import SectionReport as ReportOfSection
from bellcrank.document.document_types import Document
from bellcrank.syntax.characters import without_unwanted
from bellcrank.syntax.parse import MOST_ERRORS

SUFFIX = ".identifiers"
"""Of the file beside the layout."""

BYTES = 8

Role = Literal["command", "report"]
"""What the controller sends and a node obeys, or the other way round."""

_DEVICES: Mapping[str, tuple[str, ...]] = {
    "command": ("drive", "signal"),
    "report": ("section", "drive", "route", "place", "signal"),
}


class RoomError(Exception):
    """A range that is too small, as a sentence without its full stop."""


class Event(NamedTuple):
    """What an event tells.

    device: of buttons of the panel what they are about, a route, a place or a signal.
    """

    role: Role
    device: str
    name: str
    state: str

    def __str__(self) -> str:
        return " ".join(self)


class Place(NamedTuple):
    """The input behind a report; of those without address only the name is known."""

    detector: str | None
    input: int | None
    number: int | None
    input_name: str | None


NOWHERE = Place(None, None, None, None)


@dataclass(frozen=True, slots=True)
class Pinned:
    """What a file says: the identifier of each event, as a number of eight bytes.

    file: what messages call it. text: as it stands there.
    """

    file: str
    text: str = ""
    identifiers: Mapping[Event, int] = field(default_factory=dict)


NOTHING_PINNED = Pinned("")


# ---------------------------------------------------------------------- events


def events_of(document: Document) -> dict[Event, Place]:
    """All events of a layout, in a fixed order, each with the input that brings it about. Two
    buttons for one thing produce the same event."""
    hardware, drives = document.hardware, document.layout.drives
    sections = {r.section: _place(r) for r in hardware.reports if isinstance(r, ReportOfSection)}
    contacts = [r for r in hardware.reports if isinstance(r, DriveReport)]
    found: dict[Event, Place] = {}
    for s in document.states:
        role: Role = "report" if s.device == "section" else "command"
        place = sections.get(s.name, NOWHERE) if role == "report" else NOWHERE
        found[Event(role, s.device, s.name, s.state)] = place
    at = {(r.drive, r.position): _place(r) for r in contacts}
    for drive in drives:
        for p in drive.positions if drive.detected else ():
            event = Event("report", "drive", drive.name, p.position)
            found[event] = at.get((drive.name, p.position), NOWHERE)
    for button in hardware.buttons:
        found.setdefault(_pressed(button), _place(button))
    return found


def _pressed(button: RouteButton | PlaceButton | CancelButton) -> Event:
    match button:
        case RouteButton():
            return Event(
                "report", "route", button.route, "cancelled" if button.cancels else "requested"
            )
        case PlaceButton():
            return Event("report", "place", button.place, "pressed")
        case CancelButton():
            return Event("report", "signal", button.signal, "cancelled")


def _place(of: ReportOfSection | DriveReport | RouteButton | PlaceButton | CancelButton) -> Place:
    return Place(of.detector, of.input, of.number, of.input_name)


# ---------------------------------------------------------------- what is given


def completed(pinned: Pinned, events: Sequence[Event], range_: str, layout: str) -> Pinned:
    """With identifiers for all events: what is new gets those that follow the highest.

    range_: the first six or seven bytes of all. layout: what the head of a new file calls it.
    Raises RoomError if they are too many.
    """
    new = [event for event in events if event not in pinned.identifiers]
    first, room = _first(range_), _room(range_)
    free = max(pinned.identifiers.values(), default=first - 1) + 1
    used = free - first
    if used + len(new) > room:
        has = f"the range {range_} has room for {room} events, and "
        if pinned.identifiers:
            has += f"{pinned.file} has given {used}, so that {len(new)} more find none"
        else:
            has += f"the layout has {len(new)}"
        raise RoomError(has)
    if not new:
        return pinned
    given = {event: free + place for place, event in enumerate(new)}
    text = pinned.text or _HEAD.format(layout)
    text += "" if text.endswith("\n") else "\n"
    text += "".join(f"{dotted(number)}  {event}\n" for event, number in given.items())
    return replace(pinned, text=text, identifiers={**pinned.identifiers, **given})


_HEAD = """\
# Which event of the layout bus (NMRA S-9.7) means what, for {}.
# `bellcrank build --target events` reads this file and adds a line for what is new. Keep it
# with the layout, and take no line out: a number that was given once never means anything else.
"""


def dotted(number: int) -> str:
    """An identifier as eight hexadecimal pairs."""
    return number.to_bytes(BYTES, "big").hex(".").upper()


def _first(range_: str) -> int:
    given = bytes.fromhex(range_.replace(".", ""))
    return int.from_bytes(given.ljust(BYTES, b"\0"), "big")


def _room(range_: str) -> int:
    return int(256 ** (BYTES - len(range_.split("."))))


# -------------------------------------------------------------------- the file


def read_pinned(text: str, file: str, range_: str) -> tuple[Pinned, tuple[Diagnostic, ...]]:
    """What a file of identifiers says, and the diagnostics of what is wrong with it.

    range_: the first bytes that all are to have, as the target is told.
    """
    reader = _Reader(file, range_)
    rows = without_unwanted(text, file, reader.found, MOST_ERRORS).split("\n")
    for number, row in enumerate(rows, start=1):
        reader.line(row, number)
        if len(reader.found.diagnostics) >= MOST_ERRORS:
            break
    reader.check_range()
    reader.check_twice()
    diagnostics = sorted(reader.found.result(), key=lambda d: d.span)[:MOST_ERRORS]
    identifiers = {line.event: line.number for line in reader.lines}
    return Pinned(file, text, identifiers), tuple(diagnostics)


class _Line(NamedTuple):
    number: int
    event: Event
    at: Span
    told: Span


@dataclass(slots=True)
class _Reader:
    file: str
    range_: str
    found: Collector = field(default_factory=Collector)
    lines: list[_Line] = field(default_factory=list)

    def line(self, row: str, number: int) -> None:
        """Take in one line, or report why it cannot be read."""
        said = row.partition("#")[0]
        words = [(m.group(), self._span(number, m.start(), m.end())) for m in _words(said)]
        if not words:
            return
        end = len(said.rstrip())
        words += [("", self._span(number, end, end + 1))] * (5 - len(words))
        (identifier, at), (role, of_role), (device, of_device), *name, (state, last) = words
        if not re.fullmatch(_IDENTIFIER, identifier):
            self._unread(identifier, at, "eight bytes such as 05.01.01.01.22.00.00.0A",
                         _mended(identifier))  # fmt: skip
        elif role not in _DEVICES:
            self._unread(role, of_role, "`command` or `report`", did_you_mean(role, _DEVICES))
        elif device not in _DEVICES[role]:
            there = _DEVICES[role]
            listed = ", ".join(f"`{d}`" for d in there[:-1]) + f" or `{there[-1]}`"
            self._unread(device, of_device, listed, did_you_mean(device, there))
        elif not state:
            self._unread("", last, "a name and a state, such as `P1 straight`", None)
        else:
            event = Event(
                "command" if role == "command" else "report",
                device,
                " ".join(word for word, _ in name),
                state,
            )
            as_number = int(identifier.replace(".", ""), 16)
            self.lines.append(_Line(as_number, event, at, of_role.to(last)))

    def check_range(self) -> None:
        outside = [line for line in self.lines if not self._in_range(line)]
        if outside and len(outside) == len(self.lines):
            first = dotted(outside[0].number)
            self.found.report(
                "E722",
                f"{first} is not in the range {self.range_}, and nothing else here is",
                outside[0].at,
                expected=f"an identifier that begins with {self.range_}",
                hint=f"state the range of this file: `--option range={first[:17]}`",
            )
            return
        for line in outside[:MOST_ERRORS]:
            self.found.report(
                "E722",
                f"{dotted(line.number)} is not in the range {self.range_}",
                line.at,
                expected=f"an identifier that begins with {self.range_}",
                hint=self._next(),
            )

    def check_twice(self) -> None:
        by_number: dict[int, _Line] = {}
        by_event: dict[Event, _Line] = {}
        for line in self.lines:
            first = by_number.setdefault(line.number, line)
            if first.event != line.event:
                self.found.report(
                    "E723",
                    f"{dotted(line.number)} stands for two things: `{first.event}` and "
                    f"`{line.event}`",
                    line.at,
                    hint=self._next(),
                    related=((first.at, "it is given here first"),),
                )
            first = by_event.setdefault(line.event, line)
            if first is not line:
                self.found.report(
                    "E723",
                    f"`{line.event}` stands here twice",
                    line.told,
                    hint="take out the line that no node goes by",
                    related=((first.told, "here it stands first"),),
                )

    def _in_range(self, line: _Line) -> bool:
        return dotted(line.number).startswith(f"{self.range_}.")

    def _next(self) -> str | None:
        """A hint naming the identifier behind the highest, if there is room for it."""
        within = [line.number for line in self.lines if self._in_range(line)]
        free = max(within, default=_first(self.range_) - 1) + 1
        if free - _first(self.range_) >= _room(self.range_):
            return None
        return f"give it the next one that is free, {dotted(free)}"

    def _unread(self, word: str, span: Span, expected: str, hint: str | None) -> None:
        said = f"`{word:.60}` cannot stand here" if word else "the line ends too soon"
        self.found.report("E721", said, span, expected=expected, hint=hint)

    def _span(self, line: int, start: int, end: int) -> Span:
        return Span(self.file, line, start + 1, line, end + 1)


_IDENTIFIER = r"([0-9A-F]{2}\.){7}[0-9A-F]{2}"


def _words(said: str) -> Iterator[re.Match[str]]:
    return re.finditer(r"\S+", said)


def _mended(word: str) -> str | None:
    """A hint for an identifier that is written in another way."""
    right = re.sub(r"[-: ]", ".", word.upper())
    if re.fullmatch("[0-9A-F]{16}", right):
        right = ".".join(re.findall("..", right))
    return f"write {right}" if re.fullmatch(_IDENTIFIER, right) else None
