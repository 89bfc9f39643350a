"""Has layouts proved by a process beside the server, which gives up when the text changes.

One proof runs at a time, of the layout that was changed last. The process remembers what it has
shown, so it is told to give up and asked the next thing; only if it does not soon is it killed, and
another started. Of each layout that waits there is one entry, however often it has changed.
"""

from __future__ import annotations

import asyncio
import sys
from asyncio.subprocess import DEVNULL, PIPE, Process
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

import msgspec

from bellcrank.diagnostics import has_errors
from bellcrank.editing.analysis import Analysis, Place
from bellcrank.editing.proof_messages import (
    Answer,
    Asked,
    GivenUp,
    GiveUp,
    Mending,
    NotProved,
    Verdict,
)

PAUSE = 0.05
"""Seconds without a change before a proof is begun."""

GRACE = 1.5
"""Seconds in which the process that proves should have given up."""

_LONGEST = 1 << 28
"""Bytes of an answer."""


class FailedProofError(Exception):
    """The process that proves has failed, with what it says of that."""


@dataclass(slots=True)
class Prover:
    """answer: is told what comes of each proof. complain: of what failed and should not.
    begun, ended: of each proof that is begun, and when it has ended or was given up.
    """

    answer: Callable[[Analysis, Verdict | Mending], None]
    complain: Callable[[BaseException], None]
    begun: Callable[[], None] = lambda: None
    ended: Callable[[], None] = lambda: None
    _wanted: dict[Place, tuple[Analysis, Asked]] = field(default_factory=dict)
    _running: tuple[Place, asyncio.Task[None]] | None = None
    _next: asyncio.Task[Process] | None = None
    _stopped: bool = False

    def want(self, analysis: Analysis, texts: Mapping[Place, str]) -> None:
        """Have a layout proved, if it has no errors. texts: those that are open."""
        root = analysis.root
        self.drop(root)
        if self._stopped or has_errors(analysis.draft.diagnostics):
            return
        files = {str(place): text for place, text in texts.items() if place in analysis.name_of}
        asked = Asked(str(root), isinstance(root, Path), files)
        self._wanted = {root: (analysis, asked), **self._wanted}
        self._go_on()

    def drop(self, root: Place) -> None:
        """The verdict on a layout is not wanted any more."""
        self._wanted.pop(root, None)
        if self._running is not None and self._running[0] == root:
            self._running[1].cancel()

    def stop(self) -> None:
        """Give up all proofs."""
        self._stopped = True
        self._wanted.clear()
        if self._running is not None:
            self._running[1].cancel()
        if self._next is not None and self._next.done():
            _end(self._next)  # the loop may have ended, and would call nobody back
        elif self._next is not None:
            self._next.add_done_callback(_end)

    def _go_on(self) -> None:
        if self._running is not None or not self._wanted or self._stopped:
            return
        root = next(iter(self._wanted))
        task = asyncio.get_running_loop().create_task(self._prove(*self._wanted.pop(root)))
        self._running = (root, task)
        task.add_done_callback(self._done)

    def _done(self, task: asyncio.Task[None]) -> None:
        self._running = None
        if not task.cancelled() and (error := task.exception()) is not None:
            self.complain(error)
        self._go_on()

    async def _prove(self, analysis: Analysis, asked: Asked) -> None:
        await asyncio.sleep(PAUSE)
        process = await asyncio.shield(self._ready())
        self._next = None
        self.begun()
        try:
            await self._ask(process, analysis, asked)
        except asyncio.CancelledError:
            if self._stopped:
                await _killed(process)
                raise
            self._next = asyncio.get_running_loop().create_task(_given_up(process))
            raise
        except BaseException:
            await _killed(process)
            raise
        else:
            self._next = asyncio.get_running_loop().create_task(_as_it_is(process))
        finally:
            self.ended()
            if not self._stopped:
                self._ready()

    async def _ask(self, process: Process, analysis: Analysis, asked: Asked) -> None:
        assert process.stdin is not None and process.stdout is not None
        process.stdin.write(msgspec.json.encode(asked) + b"\n")
        await process.stdin.drain()
        while True:
            match await _said(process):
                case NotProved(reason=reason):
                    if reason:
                        raise FailedProofError(reason)
                    return
                case Verdict() as said:
                    self.answer(analysis, said)
                    if not said.more:
                        return
                case Mending() as said:
                    self.answer(analysis, said)
                    return
                case GivenUp():
                    raise FailedProofError("the process that proves has given up")

    def _ready(self) -> asyncio.Task[Process]:
        """A process that waits for a layout."""
        if self._next is None:
            self._next = asyncio.get_running_loop().create_task(_start())
        return self._next


async def _start() -> Process:
    return await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "bellcrank.editing.proof_worker",
        stdin=PIPE,
        stdout=PIPE,
        stderr=DEVNULL,
        limit=_LONGEST,
    )


async def _said(process: Process) -> Answer:
    """The next thing that a process says. Raises FailedProofError if it has ended."""
    assert process.stdout is not None
    line = await process.stdout.readline()
    if not line:
        raise FailedProofError("the process that proves has ended")
    said: Answer = msgspec.json.decode(line, type=Answer)
    return said


async def _given_up(process: Process) -> Process:
    """The process when it has given up; another if it does not soon."""
    assert process.stdin is not None
    try:
        async with asyncio.timeout(GRACE):
            process.stdin.write(msgspec.json.encode(GiveUp()) + b"\n")
            await process.stdin.drain()
            while not isinstance(await _said(process), GivenUp):
                pass
        return process
    except (TimeoutError, FailedProofError, OSError):
        await _killed(process)
        return await _start()


async def _killed(process: Process) -> None:
    with suppress(ProcessLookupError):
        process.kill()
    await process.wait()


async def _as_it_is(process: Process) -> Process:
    return process


def _end(task: asyncio.Task[Process]) -> None:
    if not task.cancelled() and task.exception() is None:
        with suppress(ProcessLookupError):
            task.result().kill()
