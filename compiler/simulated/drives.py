"""Drives: how they lie, and when they arrive where they are thrown to."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass

from bellcrank.layout.layout_model import Layout
from bellcrank.simulated.agenda import Agenda
from bellcrank.simulated.detectors import SHARE
from bellcrank.simulated.news import News


@dataclass(slots=True)
class _Drive:
    """lies: None while it moves. dead: it does not move any more."""

    lies: str | None
    goal: str
    version: int = 0
    dead: bool = False


class Drives:
    """arrived: is called when any has arrived."""

    def __init__(self, layout: Layout, agenda: Agenda, news: News, rng: random.Random) -> None:
        self._layout = layout
        self._agenda = agenda
        self._news = news
        self._rng = rng
        self._drives = {
            name: _Drive(d.positions[0], d.positions[0]) for name, d in layout.drives.items()
        }
        self.arrived: Callable[[], None] = lambda: None

    def lies(self, drive: str) -> str | None:
        """Where a drive lies; None while it moves."""
        return self._drives[drive].lies

    def throw(self, drive: str, position: str) -> bool:
        """A drive begins to move to a position; whether anything moves."""
        state = self._drives[drive]
        if state.dead:
            return False
        state.version += 1
        moves = state.lies != position
        if moves:
            state.lies = None
        state.goal = position
        self._agenda.after(self._takes(drive), self._arrives, drive, state.version)
        return moves

    def _takes(self, drive: str) -> float:
        """Seconds until it has arrived."""
        wiring = self._layout.hardware.wirings.get(drive)
        own = 0
        if wiring is not None:
            own = max(wiring.milliseconds or 0, wiring.settles or 0)
        if own:
            return own / 1000
        most = self._layout.times.drive.of(drive)
        return self._rng.uniform(0.1, SHARE) * most / 1000

    def _arrives(self, drive: str, version: int) -> None:
        state = self._drives[drive]
        if state.version != version:
            return
        state.lies = state.goal
        if self._layout.drives[drive].detected:
            self._news.report("lies", drive, state.goal)
        self.arrived()

    def report_all(self) -> None:
        """Every contact says how its drive lies now."""
        for name, drive in self._drives.items():
            if self._layout.drives[name].detected:
                self._news.report("lies", name, drive.lies or "")

    # ------------------------------------------------------------------- faults

    def names(self) -> list[str]:
        return list(self._drives)

    def is_dead(self, drive: str) -> bool:
        return self._drives[drive].dead

    def kill(self, drive: str) -> None:
        """A drive moves no more, and stays as it is."""
        self._drives[drive].dead = True
        self._drives[drive].version += 1
        self._news.tell("fault", f"the drive of {drive} is dead")

    def mend(self, drive: str) -> None:
        state = self._drives[drive]
        state.dead = False
        state.lies = state.lies or state.goal
        if self._layout.drives[drive].detected:
            self._news.report("lies", drive, state.lies)
        self._news.tell("fault", f"the drive of {drive} is mended")
