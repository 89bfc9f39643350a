"""The running railway with a device at the other end of a line, in one event loop."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from line_device import Device

from bellcrank import Sound
from bellcrank.live.box import Box
from bellcrank.live.clock import Clock
from bellcrank.live.decisions import Doing, EndPulse, Heard, Show, Throw
from bellcrank.live.engine import Engine
from bellcrank.live.journal import Journal
from bellcrank.live.line_words import PLAIN, LineWords
from bellcrank.live.lines import LineLink
from bellcrank.live.live import Live
from bellcrank.live.pacing import Pacer
from bellcrank.live.panel import PanelButtons
from bellcrank.sending.places import Place


def lines_of(c: Sound) -> dict[Doing, str]:
    """What the device understands."""
    found: dict[Doing, str] = {}
    for signal in c.layout.signals.values():
        for aspect in signal.aspects:
            found[Show(signal.name, aspect.name)] = f"show {signal.name} {aspect.name}"
    for drive in c.layout.drives.values():
        for position in drive.positions:
            found[Throw(drive.name, position)] = f"throw {drive.name} {position}"
            found[EndPulse(drive.name, position)] = f"end {drive.name} {position}"
    return found


@dataclass
class Run:
    live: Live
    box: Box
    link: LineLink
    device: Device

    async def start(self) -> None:
        await until(lambda: not self.box.missing().any and not self.box.absent)
        decision = await self.live.ask(Heard("start", who="Ada"))
        assert decision.outcome == "started", decision.told


def program(c: Sound, place: Place, journal: Path | None) -> tuple[Live, Engine, Box, LineLink]:
    """The running railway as the command makes it, without its page."""
    box = Box(c.layout, c.table, c.control, [str(place)])
    buttons = PanelButtons(c.table.panel, {}, lambda _: False)
    words = LineWords(c.layout, c.table, buttons, PLAIN, str(place))
    link = LineLink(place, lines_of(c), words, tuple(box.all_at_stop()), "how")
    kept = Journal(journal)
    kept.begin(c.layout.title, c.source_hash, "test", "now")
    live = Live(Clock(), kept, [link])
    return live, Engine(box, Pacer(c.layout), live, live.put_out), box, link


@asynccontextmanager
async def on_a_line(c: Sound, seed: int = 0, speed: float = 10.0) -> AsyncIterator[Run]:
    device = Device(c, seed, speed)
    await device.open()
    live, engine, box, link = program(c, Place("tcp", "127.0.0.1", device.port), None)
    tasks = [asyncio.create_task(live.run(engine)), asyncio.create_task(device.run())]
    try:
        yield Run(live, box, link, device)
    finally:
        for task in tasks:
            task.cancel()
        with suppress(asyncio.CancelledError, BaseExceptionGroup):
            await asyncio.gather(*tasks)
        await device.close()


async def until(so: object, seconds: float = 20.0) -> None:
    """Wait until something is so."""
    assert callable(so)
    async with asyncio.timeout(seconds):
        while not so():
            await asyncio.sleep(0.002)
