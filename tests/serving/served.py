"""A railway that is served in the test's own event loop, with a client that speaks to it."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from functools import cache
from typing import Any

from aiohttp import ClientResponse, ClientSession
from event_loops import in_a_loop
from sound_layouts import compiled

from bellcrank import Sound
from bellcrank.live.box import Box
from bellcrank.live.clock import Clock
from bellcrank.live.engine import Engine
from bellcrank.live.journal import Journal
from bellcrank.live.live import Live
from bellcrank.live.pacing import Pacer
from bellcrank.live.people import may_come_in
from bellcrank.live.simulated_link import SimulatedLink
from bellcrank.serving.app import Files, Server
from bellcrank.serving.people import People, Person
from bellcrank.serving.serve import serving
from bellcrank.serving.simulated import SimulatedPeople
from bellcrank.simulated.railway import SimulatedRailway

YARD = """
layout "Reedham <b>Yard</b>" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
decoder kind quad { outputs 4 }
decoder K1 quad at 1
drive P = K1.1  servo 1 s  detected
"""

ADA, BEN, CLEO = "a" * 20, "b" * 20, "c" * 20

PEOPLE = People(
    {ADA: Person("", None), BEN: Person("Ben", frozenset({"S"})), CLEO: Person("", frozenset())}
)


@cache
def yard() -> Sound:
    return compiled(YARD)


@dataclass
class Served:
    """client: asks the server at `url`."""

    live: Live
    box: Box
    railway: SimulatedRailway
    client: ClientSession
    url: str

    async def get(self, path: str, key: str | None = ADA, **headers: str) -> ClientResponse:
        return await self.client.get(self.url + path, headers=self._with(key, headers))

    async def post(
        self, path: str, body: object = None, key: str | None = ADA, **headers: str
    ) -> tuple[int, Any]:
        """The status and what was answered."""
        answer = await self.client.post(
            f"{self.url}/api/{path}",
            data=json.dumps(body if body is not None else {}),
            headers={"Content-Type": "application/json", **self._with(key, headers)},
        )
        return answer.status, await answer.json()

    def _with(self, key: str | None, headers: dict[str, str]) -> dict[str, str]:
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        return named if key is None else {"Authorization": f"Bearer {key}", **named}


@asynccontextmanager
async def served(speed: float = 20.0, **options: Any) -> AsyncIterator[Served]:
    c = yard()
    box = Box(c.layout, c.table, c.control, ["the simulated railway"])
    clock = Clock(speed)
    railway = SimulatedRailway(c.layout, c.table)
    railway.admits = lambda _, elements: may_come_in(box, elements)
    link = SimulatedLink(railway, clock)
    journal = Journal(None)
    journal.begin(c.layout.title, c.source_hash, "test", "now")
    live = Live(clock, journal, [link])
    engine = Engine(box, Pacer(c.layout), live, live.put_out)
    files = Files({"/": ("text/html", b"<p>page</p>")}, {"title": c.layout.title})
    server = Server(
        live, engine, options.pop("people", PEOPLE), files, SimulatedPeople(link), **options
    )
    async with serving(server, "127.0.0.1", 0) as port, ClientSession() as client:
        tasks = [asyncio.create_task(live.run(engine)), asyncio.create_task(server.tell_on())]
        here = Served(live, box, railway, client, f"http://127.0.0.1:{port}")
        await until(lambda: not box.missing().any and not box.absent)
        try:
            yield here
        finally:
            for task in tasks:
                task.cancel()
            with suppress(asyncio.CancelledError, BaseExceptionGroup):
                await asyncio.gather(*tasks)


async def until(so: Callable[[], object], seconds: float = 20.0) -> None:
    """Wait until something is so."""
    async with asyncio.timeout(seconds):
        while not so():
            await asyncio.sleep(0.005)


def run(test: Callable[[], Awaitable[None]]) -> None:
    """Run a test in an event loop."""

    async def whole() -> None:
        await test()

    in_a_loop(whole())
