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
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, Future

from bellcrank.proof.examine import Examiner, Findings
from bellcrank.proof.packed import Packed

CHUNKS_EACH = 4
"""Chunks for each worker, so that none waits long for the slowest."""

_INHERITED = "inherited"

_known: dict[str, Examiner] = {}
"""In a worker: the examiner it has been sent or has inherited."""


class OverProcesses:
    """Spreads over the cores of this machine."""

    def __init__(self, workers: int, deadline: float | None = None) -> None:
        self.workers = workers
        self.deadline = deadline

    def __call__(self, examiner: Examiner, goals: Sequence[int]) -> Iterator[Findings]:
        """Examine clauses; the findings of each chunk as it is done."""
        _known[_INHERITED] = examiner
        left = None if self.deadline is None else self.deadline - time.monotonic()
        none_new: list[int] = []
        chunks = _cut(examiner.packed, goals, self.workers)
        work = [(_INHERITED, b"", chunk, none_new, left) for chunk in chunks]
        # Leaving the pool, for whatever reason, ends its processes at once.
        with multiprocessing.get_context("fork").Pool(self.workers, _begin) as pool:
            yield from pool.imap(_examine_one, work)


class OverExecutor:
    """Spreads over any executor, on this machine or on others."""

    def __init__(self, executor: Executor, workers: int, deadline: float | None = None) -> None:
        self.executor = executor
        self.workers = workers
        self.deadline = deadline

    def __call__(self, examiner: Examiner, goals: Sequence[int]) -> Iterator[Findings]:
        """Examine clauses; the findings of each chunk as it is done."""
        sent = pickle.dumps((examiner.packed, examiner.thorough), pickle.HIGHEST_PROTOCOL)
        name = hashlib.sha256(sent).hexdigest()
        struck = [number for number, alive in enumerate(examiner.alive) if not alive]
        left = None if self.deadline is None else self.deadline - time.monotonic()
        futures: list[Future[Findings]] = [
            self.executor.submit(_examine, name, sent, chunk, struck, left)
            for chunk in _cut(examiner.packed, goals, self.workers)
        ]
        try:
            for future in futures:
                yield future.result()
        finally:
            for future in futures:
                future.cancel()


def local(deadline: float | None) -> OverProcesses | None:
    """The cores of this machine; None where processes cannot be copied or there is one."""
    cores = os.cpu_count() or 1
    if cores < 2 or "fork" not in multiprocessing.get_all_start_methods():
        return None
    return OverProcesses(cores, deadline)


def _cut(packed: Packed, goals: Sequence[int], workers: int) -> list[list[int]]:
    """Chunks of clauses that lie near each other: what is found out about an event
    serves for all clauses of a chunk."""
    size = max(1, -(-len(goals) // (workers * CHUNKS_EACH)))
    near = sorted(goals, key=packed.first_mover)
    return [near[i : i + size] for i in range(0, len(near), size)]


def _begin() -> None:
    """In a worker: leave it to the process that started it to stop, and do not go
    through all that was inherited in search of garbage."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.freeze()


def _examine_one(work: tuple[str, bytes, list[int], list[int], float | None]) -> Findings:
    return _examine(*work)


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
