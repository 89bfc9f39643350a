"""The running railway: one loop that hears what comes from links and people, and lets time pass.

All is decided in this one loop, one batch after the other, so nothing has to be locked and what is
in the journal is in the order in which it was decided. Links and the page run beside it, in the
same event loop of asyncio or in threads of their own, and give what they hear to `hear`.
"""

from __future__ import annotations

import asyncio
import time
from collections import deque
from collections.abc import Callable, Iterable, Sequence
from typing import Protocol

from bellcrank.live.clock import Clock, time_of_day
from bellcrank.live.decisions import Decision, Doing, Heard
from bellcrank.live.engine import Engine
from bellcrank.live.journal import Journal

Heed = Callable[[Sequence[Heard]], None]
"""Takes in what was heard. May be called from any thread."""

Follow = Callable[[Sequence[Decision]], None]
"""Is told what was decided."""


_PAUSES = (0.2, 0.5, 1.0, 2.0, 5.0)


def pause_before(tried: int) -> float:
    """Seconds before a link that is not there is tried again. tried: how often it was in vain."""
    return _PAUSES[min(tried, len(_PAUSES) - 1)]


class Link(Protocol):
    """Something between which and the signal box there are reports and commands.

    name: what people call it. up: whether it is there. trouble: what is wrong with it, if it is
    not.
    """

    name: str
    up: bool
    trouble: str

    async def run(self, heed: Heed) -> None:
        """Keep the link until cancelled; when it is lost say so, and come back by itself."""

    def put_out(self, doing: Doing) -> None:
        """Send a command; returns at once."""


class Live:
    """A railway that runs.

    followers: whoever is to be told what was decided. on_reaction: is told of each thing heard how
        many seconds it took until what follows of it was sent.
    last_entry: the number of the last entry of the journal.
    """

    def __init__(self, clock: Clock, journal: Journal, links: Sequence[Link]) -> None:
        self.clock = clock
        self.journal = journal
        self.links = tuple(links)
        self.followers: list[Follow] = []
        self.on_reaction: Callable[[float], None] = lambda _: None
        self.last_entry = 0
        self.engine: Engine | None = None
        self._inbox: deque[tuple[float, Heard]] = deque()
        self._answers: deque[tuple[Heard, asyncio.Future[Decision]]] = deque()
        self._woken: asyncio.Event | None = None
        self._loop: asyncio.AbstractEventLoop | None = None

    # ------------------------------------------------------------ what comes in

    def hear(self, heard: Iterable[Heard]) -> None:
        """Take something in; from any thread."""
        now = time.perf_counter()
        self._inbox.extend((now, each) for each in heard)
        loop, woken = self._loop, self._woken
        if loop is not None and woken is not None and not loop.is_closed():
            loop.call_soon_threadsafe(woken.set)

    async def ask(self, heard: Heard) -> Decision:
        """Take in what a person asks; what became of it. In the loop's own thread."""
        answer: asyncio.Future[Decision] = asyncio.get_running_loop().create_future()
        self._answers.append((heard, answer))
        self.hear((heard,))
        return await answer

    @property
    def waiting(self) -> int:
        """How many things have come in and are not decided yet."""
        return len(self._inbox)

    # -------------------------------------------------------------- what is done

    def write(self, decisions: Sequence[Decision]) -> None:
        """Into the journal, before anything takes effect."""
        self.last_entry = self.journal.write(decisions, time_of_day())

    def put_out(self, doing: Doing) -> None:
        """Over every link."""
        for link in self.links:
            link.put_out(doing)

    async def run(self, engine: Engine) -> None:
        """Run until cancelled; then all signals go to stop. Raises JournalError."""
        self.engine = engine
        self._loop = asyncio.get_running_loop()
        self._woken = asyncio.Event()
        if self._inbox:
            self._woken.set()
        async with asyncio.TaskGroup() as tasks:
            for link in self.links:
                tasks.create_task(link.run(self.hear))
            tasks.create_task(self._decide(engine, self._woken))

    async def _decide(self, engine: Engine, woken: asyncio.Event) -> None:
        while True:
            next_at = engine.next_at(self.clock.now())
            timeout = None if next_at is None else self.clock.seconds_until(next_at)
            try:
                async with asyncio.timeout(timeout):
                    await woken.wait()
            except TimeoutError:
                pass
            woken.clear()
            self.step(engine)

    def step(self, engine: Engine) -> None:
        """Decide what has come in by now, and what time has brought."""
        taken = [self._inbox.popleft() for _ in range(len(self._inbox))]
        decisions = engine.hear([heard for _, heard in taken], self.clock.now())
        if taken:
            done = time.perf_counter()
            for came, _ in taken:
                self.on_reaction(done - came)
        for decision in decisions:
            if self._answers and decision.heard is self._answers[0][0]:
                _, answer = self._answers.popleft()
                if not answer.done():
                    answer.set_result(decision)
        if decisions:
            for follow in self.followers:
                follow(decisions)
