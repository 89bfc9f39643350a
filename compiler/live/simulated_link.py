"""The link to the railway that is simulated in this program: signals and drives out, reports in.

Time on it is the clock's. It has an event of its own now and then, for which it wakes up; between
them nothing on it changes but by formula.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from bellcrank.live.clock import Clock
from bellcrank.live.decisions import Doing, Heard, Show, Throw
from bellcrank.live.live import Heed
from bellcrank.simulated.acts import Act, Fault
from bellcrank.simulated.news import Happened, Reported
from bellcrank.simulated.railway import SimulatedRailway

Tell = Callable[[Happened], None]


class SimulatedLink:
    """railway: simulated. told: whoever is told what happens on it."""

    def __init__(self, railway: SimulatedRailway, clock: Clock) -> None:
        self.name = "the simulated railway"
        self.up = True
        self.trouble = ""
        self.railway = railway
        self.followers: list[Tell] = []
        self._clock = clock
        self._heed: Heed = lambda _: None
        self._woken: asyncio.Event | None = None

    async def run(self, heed: Heed) -> None:
        self._heed = heed
        self._woken = asyncio.Event()
        heed((Heard("here", self.name, who=self.name),))
        heed([heard_of(each, self.name) for each in self.railway.all_reports()])
        while True:
            self.catch_up()
            next_at = self.railway.next_at()
            timeout = None if next_at is None else self._clock.seconds_until(next_at)
            try:
                async with asyncio.timeout(timeout):
                    await self._woken.wait()
            except TimeoutError:
                pass
            self._woken.clear()

    def catch_up(self) -> None:
        """Let happen on the railway what has happened by now."""
        self.railway.run_until(self._clock.now())
        reports = self.railway.take_reports()
        if reports:
            self._heed([heard_of(each, self.name) for each in reports])
        for happened in self.railway.take_happened():
            for follow in self.followers:
                follow(happened)

    def put_out(self, doing: Doing) -> None:
        self.railway.run_until(self._clock.now())
        if isinstance(doing, Show):
            self.railway.show(doing.signal, doing.aspect)
        elif isinstance(doing, Throw):
            self.railway.throw(doing.drive, doing.position)
        self.wake()

    def do(self, act: Act | Fault) -> None:
        """What people do with trains, or let fail. Raises SimulationError if it is not possible
        now."""
        self.railway.run_until(self._clock.now())
        self.railway.do(act)
        # What is reported at once is heard before whatever is asked after it.
        self.catch_up()
        self.wake()

    def wake(self) -> None:
        """Something has changed on it."""
        if self._woken is not None:
            self._woken.set()


def heard_of(reported: Reported, who: str) -> Heard:
    """What a report of the simulated railway is to the signal box."""
    if reported.kind == "lies" and not reported.value:
        return Heard("nowhere", reported.of, who=who)
    return Heard(reported.kind, reported.of, reported.value, who)
