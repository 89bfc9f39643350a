"""How often somebody may ask: a token bucket for each peer (a known method of traffic shaping)."""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Callable

_PEERS = 1000
"""Peers that are remembered."""


class Rates:
    """per_second: on average. at_once: in a burst."""

    def __init__(
        self, per_second: float, at_once: int, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._per_second = per_second
        self._at_once = at_once
        self._clock = clock
        self._buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def may(self, peer: str) -> bool:
        """Whether a peer may ask now; if so it counts."""
        now = self._clock()
        left, at = self._buckets.pop(peer, (float(self._at_once), now))
        left = min(float(self._at_once), left + (now - at) * self._per_second)
        may = left >= 1
        self._buckets[peer] = (left - 1 if may else left, now)
        if len(self._buckets) > _PEERS:
            self._buckets.popitem(last=False)
        return may
