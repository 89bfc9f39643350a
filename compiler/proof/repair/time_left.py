"""The time that is left for a search, which ends when there is none."""

from __future__ import annotations

import time
from dataclasses import dataclass


class OutOfTimeError(Exception):
    """The time is over before the rules are known."""


@dataclass(frozen=True, slots=True)
class TimeLeft:
    """deadline: by the monotonic clock; None for none."""

    deadline: float | None

    @classmethod
    def of(cls, seconds: float | None) -> TimeLeft:
        """From now on so many seconds."""
        return cls(None if seconds is None else time.monotonic() + seconds)

    def left(self) -> float | None:
        """Seconds that are left; None without a limit. Raises OutOfTimeError if there are none."""
        if self.deadline is None:
            return None
        seconds = self.deadline - time.monotonic()
        if seconds <= 0:
            raise OutOfTimeError
        return seconds
