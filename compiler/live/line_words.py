"""What is reported over a line of text: a network or serial line, a message a line.

Without a pattern a line is one of

    T1 occupied          T1 clear           a section
    P1 lies straight     P1 lies nowhere    a drive
    12 on                D2.4 off           an input, by its number on the layout or on its detector

A pattern says how else it is said: `S {input} {state}`, with `{section}`, `{drive}` or `{input}`
for what it is of and `{state}` for how that is; what stands for on and off may be stated.
Everything else that a peer says is passed over, but not what begins like a report and has no
meaning: nobody knows what was meant.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from bellcrank.layout.detectors import Contact, DetectorInput, Input
from bellcrank.layout.layout_model import Layout
from bellcrank.live.decisions import Heard
from bellcrank.live.panel import PanelButtons
from bellcrank.routes.route_model import RouteTable

_PARTS = ("section", "drive", "input", "state")
_ON = ("on", "1", "occupied", "true")
_OFF = ("off", "0", "clear", "false")


class PatternError(ValueError):
    """A pattern that no line can have, as a sentence without its full stop."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """How reports are written. on, off: the words for the two states of an input or section."""

    lines: tuple[re.Pattern[str], ...]
    on: tuple[str, ...] = _ON
    off: tuple[str, ...] = _OFF


PLAIN = Pattern(
    (
        re.compile(r"(?P<drive>\S+) lies (?P<state>\S+)"),
        re.compile(r"(?P<any>\S+) (?P<state>occupied|clear|on|off)"),
        re.compile(r'(?P<any>".*") (?P<state>on|off)'),
    )
)
"""As at the head of this module."""


def read_pattern(text: str, on: str | None = None, off: str | None = None) -> Pattern:
    """The pattern that a user states. Raises PatternError."""
    written = ""
    found: list[str] = []
    for piece in re.split(r"(\{[^{}]*\})", " ".join(text.split())):
        if piece.startswith("{"):
            name = piece[1:-1].strip()
            if name not in _PARTS:
                known = ", ".join(f"{{{part}}}" for part in _PARTS)
                raise PatternError(f"`{piece}` stands for nothing in a report: there are {known}")
            if name in found:
                raise PatternError(f"`{piece}` stands twice in `{text}`")
            found.append(name)
            written += rf"(?P<{name}>\S+?)"
        else:
            written += re.escape(piece).replace(r"\ ", r"\s+")
    if "state" not in found or len(found) != 2:
        raise PatternError(
            f"`{text}` must hold {{state}} and one of {{section}}, {{drive}} and {{input}}, "
            "such as `S {input} {state}`"
        )
    if on is not None and on == off:
        raise PatternError(f"`{on}` cannot stand for on and for off")
    return Pattern(
        (re.compile(written),),
        (on,) if on is not None else _ON,
        (off,) if off is not None else _OFF,
    )


class LineWords:
    """Lines read for one layout."""

    def __init__(
        self,
        layout: Layout,
        table: RouteTable,
        buttons: PanelButtons,
        pattern: Pattern,
        link: str,
    ) -> None:
        self._layout = layout
        self._pattern = pattern
        self._link = link
        self._buttons = buttons
        self._inputs: Mapping[str, Input] = dict(_inputs(layout, table))
        self._sections = {r.input: name for name, r in layout.reports.sections.items()}
        self._contacts = {c.input: c for cs in layout.reports.contacts.values() for c in cs}

    def read(self, line: str) -> list[Heard]:
        """What a line reports; nothing if it is about something else."""
        said = " ".join(line.split())
        for pattern in self._pattern.lines:
            match = pattern.fullmatch(said)
            if match is None:
                continue
            parts = match.groupdict()
            state = parts["state"]
            name = parts.get("any")
            if name is not None and state in ("occupied", "clear"):
                return self._section(name, state, said)
            if name is not None:
                return self._input(name, state, said)
            if parts.get("section") is not None:
                return self._section(parts["section"], self._state(state), said)
            if parts.get("input") is not None:
                return self._input(parts["input"], self._state(state), said)
            return self._drive(parts["drive"], state, said)
        first = said.partition(" ")[0]
        if first in self._layout.sections or first in self._layout.drives or first in self._inputs:
            return self._not_understood(said)
        return []

    def _state(self, word: str) -> str:
        if word in self._pattern.on:
            return "on"
        return "off" if word in self._pattern.off else word

    def _section(self, name: str, state: str, said: str) -> list[Heard]:
        section = self._layout.sections.get(name)
        kinds = {"on": "occupied", "off": "clear"}
        kind = kinds.get(state, state)
        if section is None or not section.detected or kind not in ("occupied", "clear"):
            return self._not_understood(said)
        return [Heard("occupied" if kind == "occupied" else "clear", name, who=self._link)]

    def _drive(self, name: str, position: str, said: str) -> list[Heard]:
        drive = self._layout.drives.get(self._layout.drives_by_name().get(name, ""))
        if drive is None or not drive.detected:
            return self._not_understood(said)
        if position in drive.positions:
            return [Heard("lies", drive.name, position, self._link)]
        if position == "nowhere":
            return [Heard("nowhere", drive.name, who=self._link)]
        return self._not_understood(said)

    def _input(self, name: str, state: str, said: str) -> list[Heard]:
        found = self._inputs.get(name)
        if found is None or state not in ("on", "off"):
            return self._not_understood(said)
        if found in self._sections:
            section = self._sections[found]
            opens = self._layout.reports.sections[section].opens
            return self._section(section, _turned(state) if opens else state, said)
        contact = self._contacts.get(found)
        if contact is not None:
            return self._contact(contact, _turned(state) if contact.opens else state)
        if state == "off":
            return []
        return list(self._buttons.pressed(found, self._link))

    def _contact(self, contact: Contact, state: str) -> list[Heard]:
        drive = self._layout.drives[contact.drive]
        if state == "on":
            return [Heard("lies", drive.name, contact.position, self._link)]
        others = [p for p in drive.positions if p != contact.position]
        if len(self._layout.reports.contacts[drive.name]) == 1 and len(others) == 1:
            return [Heard("lies", drive.name, others[0], self._link)]
        return [Heard("nowhere", drive.name, contact.position, self._link)]

    def _not_understood(self, said: str) -> list[Heard]:
        return [Heard("not understood", value=said[:200], who=self._link)]


def _turned(state: str) -> str:
    """The state of an input that opens when what it reports is so."""
    return "off" if state == "on" else "on"


def _inputs(layout: Layout, table: RouteTable) -> Iterator[tuple[str, Input]]:
    """Every input by what it may be called on a line."""
    reports = layout.reports
    every: list[Input] = [r.input for r in reports.sections.values()]
    every += [c.input for contacts in reports.contacts.values() for c in contacts]
    every += [button.input for button in table.panel.buttons]
    for each in every:
        yield str(each), each
        if isinstance(each, DetectorInput):
            yield str(reports.number_of(each)), each
        else:
            yield each.name, each
