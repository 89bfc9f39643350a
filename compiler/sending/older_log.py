"""Rows of logs as they were written before they had fields: a time without its zone, two
spaces, a sentence. Only throws are read of them; nothing writes them any more.
"""

from __future__ import annotations

import re
from datetime import datetime

from bellcrank.sending.log_rows import Commanded, DamagedRowError, Entry, Fate

_ROW = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2} [0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3})  (.*)")
_SENT = re.compile(r"sent: drive (\S+) (\S+)(?: .*)?")
_DOUBTFUL = re.compile(r"may have arrived or not: ([0-9]{1,6})")
_LISTED = re.compile(r"  drive (\S+) (\S+)(?: .*)?")


class OlderLog:
    """Reads one row after another, as they stand in the log."""

    def __init__(self, now: datetime) -> None:
        """now: a time that knows its zone."""
        self._now = now
        self._doubtful = 0

    def read(self, line: str) -> Entry | None:
        """The entry of a row; None for one that tells of no throw. Raises DamagedRowError."""
        row = _ROW.fullmatch(line.rstrip("\r\n"))
        if row is None:
            raise DamagedRowError
        listed = _LISTED.fullmatch(row[2]) if self._doubtful else None
        self._doubtful = max(0, self._doubtful - 1)
        if heading := _DOUBTFUL.fullmatch(row[2]):
            self._doubtful = int(heading[1])
        if throw := (_SENT.fullmatch(row[2]) or listed):
            fate: Fate = "in doubt" if listed else "sent"
            return Entry(self._time(row[1]), Commanded(fate, "drive", throw[1], throw[2]))
        return None

    def _time(self, written: str) -> datetime:
        """An hour that the clock goes through twice is taken for the later one, unless that
        is still to come. What is no time, or none that a clock shows, was perhaps just now."""
        try:
            at = datetime.fromisoformat(written)
            times = [at.replace(fold=fold).astimezone() for fold in (0, 1)]
        except (ValueError, OverflowError, OSError):
            return self._now
        return max((time for time in times if time <= self._now), default=self._now)
