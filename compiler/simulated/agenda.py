"""Time on the simulated railway, and what is still to happen (the event list of a discrete-event
simulation)."""

from __future__ import annotations

from collections.abc import Callable
from heapq import heappop, heappush
from math import inf
from typing import Any


class Agenda:
    """now: seconds by the clock of the railway."""

    def __init__(self) -> None:
        self.now = 0.0
        self._queue: list[tuple[float, int, Callable[..., None], tuple[Any, ...]]] = []
        self._number = 0

    @property
    def milliseconds(self) -> float:
        return self.now * 1000

    def next_at(self) -> float | None:
        """When something happens next of itself, in milliseconds."""
        return self._queue[0][0] * 1000 if self._queue else None

    def run_until(self, at: float) -> None:
        """Let time pass until a moment, in milliseconds."""
        until = at / 1000
        while self._queue and self._queue[0][0] * 1000 <= at:
            time, _, act, what = heappop(self._queue)
            self.now = max(self.now, time)
            act(*what)
        self.now = max(self.now, until)

    def after(self, seconds: float, act: Callable[..., None], *what: Any) -> None:
        """Have something happen after a time; never, if that is infinite. What is to happen at
        one moment happens in the order in which that was said."""
        if seconds < inf:
            self._number += 1
            heappush(self._queue, (self.now + max(0.0, seconds), self._number, act, what))
