"""A device behind a network line: a simulated railway that hears commands and tells reports as
lines.

It shares nothing with the program that runs it but what stands on the line.
"""

from __future__ import annotations

import asyncio
import random
from collections.abc import Callable
from contextlib import suppress

from bellcrank import Sound
from bellcrank.simulated.acts import Act
from bellcrank.simulated.habits import Habits
from bellcrank.simulated.news import Reported
from bellcrank.simulated.railway import SimulatedRailway, SimulationError


class Device:
    """commands: every line that came. spoil: what is said in place of a line of a report: nothing,
    it twice, or something else."""

    def __init__(self, c: Sound, seed: int = 0, speed: float = 10.0) -> None:
        self.c = c
        self.railway = SimulatedRailway(c.layout, c.table, seed)
        self.speed = speed
        self.commands: list[str] = []
        self.spoil: Callable[[str], list[str]] = lambda line: [line]
        self.port = 0
        self._writer: asyncio.StreamWriter | None = None
        self._server: asyncio.Server | None = None
        self._begun = 0.0
        self._aspects = {
            f"{s.name} {a.name}": (s.name, a.name)
            for s in c.layout.signals.values()
            for a in s.aspects
        }
        self._positions = {
            f"{d.name} {p}": (d.name, p) for d in c.layout.drives.values() for p in d.positions
        }
        self.rng = random.Random(f"device {seed}")

    async def open(self) -> None:
        loop = asyncio.get_running_loop()
        self._begun = self._begun or loop.time()
        self._server = await asyncio.start_server(self._come, "127.0.0.1", self.port)
        self.port = self._server.sockets[0].getsockname()[1]

    async def close(self) -> None:
        """The cable is pulled out."""
        if self._server is not None:
            self._server.close()
        if self._writer is not None:
            self._writer.transport.abort()
            self._writer = None
        # Without the cable no lamp is lit and nothing is thrown: its watchdog sees to it.
        self.all_to_stop()

    def all_to_stop(self) -> None:
        for name, signal in self.c.layout.signals.items():
            self.railway.show(name, signal.aspects[0].name)

    @property
    def now(self) -> float:
        return (asyncio.get_running_loop().time() - self._begun) * 1000 * self.speed

    async def _come(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._writer = writer
        with suppress(ConnectionError, asyncio.CancelledError):
            while line := await reader.readline():
                self.obey(line.decode().strip())

    def obey(self, line: str) -> None:
        self.railway.run_until(self.now)
        self.commands.append(line)
        if line == "how":
            self._tell(self.railway.all_reports())
            return
        said = line.removeprefix("show ").removeprefix("throw ")
        if line.startswith("show ") and said in self._aspects:
            self.railway.show(*self._aspects[said])
        elif line.startswith("throw ") and said in self._positions:
            self.railway.throw(*self._positions[said])

    def _tell(self, reports: list[Reported]) -> None:
        for report in reports:
            line = f"{report.of} {report.kind}"
            if report.kind == "lies":
                line = f"{report.of} lies {report.value or 'nowhere'}"
            for said in self.spoil(line):
                if self._writer is not None:
                    self._writer.write(f"{said}\n".encode())

    async def run(self) -> None:
        """Let time pass on it, until cancelled."""
        while True:
            await asyncio.sleep(0.005)
            self.railway.run_until(self.now)
            self._tell(self.railway.take_reports())

    async def handle_trains(self, habits: Habits) -> None:
        """People there handle trains, until cancelled."""
        while True:
            await asyncio.sleep(2.0 / self.speed)
            for wish in habits.next():
                if isinstance(wish, Act):
                    with suppress(SimulationError):
                        self.railway.run_until(self.now)
                        self.railway.do(wish)
                        self._tell(self.railway.take_reports())
