"""Work spread over several processes or machines.

Clauses are examined in chunks by the workers of any `concurrent.futures.Executor`.
A worker on this machine is a copy of this process and has the machine already; one
elsewhere is sent it with its first chunk.
"""

from __future__ import annotations

import gc
import hashlib
import multiprocessing
import os
import pickle
import signal
import time
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from multiprocessing.pool import AsyncResult

from bellcrank.proof.moving.examine import Examiner, Findings, Tell
from bellcrank.running.packed import Packed

CHUNKS_EACH = 8
"""Chunks for each worker, so that none waits long for the slowest."""

_INHERITED = "inherited"

_known: dict[str, Examiner] = {}
"""In a worker: the examiner it has been sent or has inherited."""


class OverProcesses:
    """Spreads over the cores of this machine: this process works too. What each touches
    of the machine is copied for it, so one process less saves much memory."""

    def __init__(self, workers: int, deadline: float | None = None) -> None:
        self.workers = workers
        self.deadline = deadline

    def __call__(self, examiner: Examiner, goals: Sequence[int], tell: Tell) -> Iterator[Findings]:
        """Examine clauses; the findings of each chunk, in order, when all are done."""
        _known[_INHERITED] = examiner
        found: dict[int, Findings] = {}
        away: dict[int, AsyncResult[Findings]] = {}
        ahead = deque(enumerate(_cut(examiner.packed, goals, self.workers)))
        others = self.workers - 1
        # Leaving the pool, for whatever reason, ends its processes at once.
        with _uncollected(), multiprocessing.get_context("fork").Pool(others, _begin) as pool:
            while ahead or away:
                # One chunk for each to work on, and one to go on with; from the far end,
                # so that one part of the railway is looked at by one process.
                while ahead and len(away) < 2 * others:
                    place, chunk = ahead.pop()
                    none_new: list[int] = []
                    work = (_INHERITED, b"", chunk, none_new, _left(self.deadline))
                    away[place] = pool.apply_async(_examine, work)
                if ahead:
                    place, chunk = ahead.popleft()
                    found[place] = examiner.examine(chunk, self.deadline)
                for place in list(away):
                    if not ahead or away[place].ready():
                        found[place] = away.pop(place).get()
                tell(sum(f.examined for f in found.values()))
        for place in sorted(found):
            yield found.pop(place)


class OverExecutor:
    """Spreads over any executor, on this machine or on others."""

    def __init__(self, executor: Executor, workers: int, deadline: float | None = None) -> None:
        self.executor = executor
        self.workers = workers
        self.deadline = deadline

    def __call__(self, examiner: Examiner, goals: Sequence[int], tell: Tell) -> Iterator[Findings]:
        """Examine clauses; the findings of each chunk, in order, as they are done."""
        sent = pickle.dumps((examiner.packed, examiner.thorough), pickle.HIGHEST_PROTOCOL)
        name = hashlib.sha256(sent).hexdigest()
        struck = [number for number, alive in enumerate(examiner.alive) if not alive]
        left = _left(self.deadline)
        futures: list[Future[Findings]] = [
            self.executor.submit(_examine, name, sent, chunk, struck, left)
            for chunk in _cut(examiner.packed, goals, self.workers)
        ]
        try:
            done = 0
            for future in futures:
                found = future.result()
                done += found.examined
                tell(done)
                yield found
        finally:
            for future in futures:
                future.cancel()


def local(deadline: float | None) -> OverProcesses | None:
    """The cores of this machine; None where processes cannot be copied or there is one."""
    cores = os.cpu_count() or 1
    if cores < 2 or "fork" not in multiprocessing.get_all_start_methods():
        return None
    return OverProcesses(cores, deadline)


def _left(deadline: float | None) -> float | None:
    """The seconds up to a deadline; None if there is none."""
    return None if deadline is None else deadline - time.monotonic()


def _cut(packed: Packed, goals: Sequence[int], workers: int) -> list[list[int]]:
    """Chunks of clauses that lie near each other on the railway: what is found out about
    an event serves for all clauses of a chunk."""
    size = max(1, -(-len(goals) // (workers * CHUNKS_EACH)))
    near = sorted(goals, key=packed.along)
    return [near[i : i + size] for i in range(0, len(near), size)]


@contextmanager
def _uncollected() -> Iterator[None]:
    """Nobody goes through what there is now in search of garbage: that would touch, and
    so copy, all that processes share."""
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()


def _begin() -> None:
    """In a worker: leave it to the process that started it to stop."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _examine(
    name: str, sent: bytes, goals: list[int], struck: list[int], seconds: float | None
) -> Findings:
    """In a worker: examine clauses."""
    examiner = _known.get(name)
    if examiner is None:
        packed: Packed
        packed, thorough = pickle.loads(sent)
        examiner = Examiner(packed, thorough=thorough)
        _known.clear()
        _known[name] = examiner
    for number in struck:
        examiner.alive[number] = False
    deadline = None if seconds is None else time.monotonic() + seconds
    return examiner.examine(goals, deadline)
