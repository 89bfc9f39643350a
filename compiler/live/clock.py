"""The clock of the railway: milliseconds that nobody can put forward or back, faster than real time
where a simulated railway is to run so."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from datetime import datetime


@dataclass(slots=True)
class Clock:
    """speed: milliseconds of the railway in a millisecond of real time."""

    speed: float = 1.0
    _begun: float = field(default_factory=time.monotonic)

    def now(self) -> float:
        """Milliseconds since it was begun."""
        return (time.monotonic() - self._begun) * 1000 * self.speed

    def seconds_until(self, at: float) -> float:
        """Seconds of real time until a moment; 0 if it is over."""
        return max(0.0, (at - self.now()) / 1000 / self.speed)


def time_of_day() -> str:
    """The time of day with its zone, for people (ISO 8601)."""
    return datetime.now().astimezone().isoformat(timespec="milliseconds")
