"""What the simulated railway tells: reports to whoever works it, and to people what happens."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from bellcrank.simulated.agenda import Agenda

_KEPT = 500
"""Things that happened which are kept for whoever asks."""


@dataclass(frozen=True, slots=True)
class Reported:
    """What a detector or a contact says. value: of a drive the position; empty while it lies in
    none.
    at: milliseconds by the clock of the railway."""

    kind: Literal["occupied", "clear", "lies"]
    of: str
    value: str = ""
    at: float = 0.0


@dataclass(frozen=True, slots=True)
class Happened:
    """Something for people, as a sentence without its full stop. at: milliseconds."""

    at: float
    kind: Literal["train", "accident", "fault"]
    text: str


class News:
    """accidents: what has gone wrong, in its order."""

    def __init__(self, agenda: Agenda) -> None:
        self._agenda = agenda
        self._reports: list[Reported] = []
        self._happened: list[Happened] = []
        self.accidents: list[Happened] = []

    def report(self, kind: Literal["occupied", "clear", "lies"], of: str, value: str = "") -> None:
        self._reports.append(Reported(kind, of, value, self._agenda.milliseconds))

    def tell(self, kind: Literal["train", "accident", "fault"], text: str) -> None:
        happened = Happened(self._agenda.milliseconds, kind, text)
        self._happened.append(happened)
        if kind == "accident":
            self.accidents.append(happened)
        del self._happened[:-_KEPT]

    def take_reports(self) -> list[Reported]:
        """What has been reported since this was last asked, in its order."""
        found, self._reports = self._reports, []
        return found

    def take_happened(self) -> list[Happened]:
        """What has happened since this was last asked."""
        found, self._happened = self._happened, []
        return found
