"""The running railway over a real broker, with a board as the documentation has it; for tests."""

from __future__ import annotations

import asyncio
import json
import threading
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from functools import cache
from typing import Any

from event_loops import in_a_loop
from mqtt_railway import HALT, PATIENT, STANDING, module
from peers import Broker
from sound_layouts import undecided

from bellcrank import Checked
from bellcrank.document.build_document import build_document
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target
from bellcrank.live.box import Box
from bellcrank.live.broker import BrokerLink, Standing
from bellcrank.live.clock import Clock
from bellcrank.live.decisions import Heard
from bellcrank.live.engine import Engine
from bellcrank.live.journal import Journal
from bellcrank.live.live import Live
from bellcrank.live.pacing import Pacer
from bellcrank.sending.places import Place


@cache
def halt() -> tuple[Checked, dict[str, Any]]:
    """The halt, and what `messages.json` tells of it."""
    c = undecided(HALT)
    target = load_target("mqtt")
    [text] = render_target(target, build_document(c, target.without)).values()
    told = json.loads(text)
    told["milliseconds"] |= PATIENT
    return c, told


class BoardThread:
    """A board of the documentation, stepped in a thread of its own."""

    def __init__(self, broker: Broker) -> None:
        _, told = halt()
        ours = [(d["device"], d["name"]) for d in told["devices"]]
        self.board = module("board").Board("K1", told, ours, STANDING, "127.0.0.1", broker.port)
        self._ended = threading.Event()
        self._said: list[tuple[str, str]] = []
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._ended.is_set():
            while self._said:
                self.board.sense(*self._said.pop(0))
            self.board.step()

    def sense(self, topic: str, state: str) -> None:
        self._said.append((topic, state))

    def shows(self, device: str, name: str) -> str | None:
        state = self.board.shows.get((device, name))
        return None if state is None else str(state)

    def end(self) -> None:
        """It dies without a word."""
        self._ended.set()
        self._thread.join()
        self.board.client.socket().close()


@dataclass
class Over:
    live: Live
    box: Box
    link: BrokerLink
    broker: Broker

    async def start(self) -> None:
        # Where it has only just been stopped, what is behind the link is asked anew in a moment.
        async with asyncio.timeout(20):
            while (await self.live.ask(Heard("start", who="Ada"))).outcome != "started":
                await asyncio.sleep(0.01)


@asynccontextmanager
async def over(broker: Broker) -> AsyncIterator[Over]:
    c, told = halt()
    place = Place("mqtt", "127.0.0.1", broker.port)
    box = Box(c.layout, c.table, c.control, [str(place)])

    def standing() -> Standing:
        states = {("signal", s): a for s, a in box.aspects().items()}
        states |= {("route", r): box.stage(r) for r in c.table.routes}
        return Standing(box.running, box.because, states)

    link = BrokerLink(place, told, standing)
    journal = Journal(None)
    journal.begin("", "", "", "")
    live = Live(Clock(), journal, [link])
    live.followers.append(link.follow)
    engine = Engine(box, Pacer(c.layout), live, live.put_out)
    task = asyncio.create_task(live.run(engine))
    try:
        yield Over(live, box, link, broker)
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


def run(broker: Broker, test: Callable[[Over], Awaitable[None]]) -> None:
    async def whole() -> None:
        async with over(broker) as here:
            await test(here)

    in_a_loop(whole())
