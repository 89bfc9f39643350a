"""Work spread over several processes or machines.

Clauses are examined in chunks: by processes of this machine, or by the workers of any
`concurrent.futures.Executor`. A chunk that is lost, because the system has ended a worker
or a machine is gone, is examined here instead: nothing is taken as shown that was not.
"""

from __future__ import annotations

import gc
import multiprocessing
import os
import pickle
import signal
import sys
import threading
import time
import uuid
from array import array
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, Future
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Any

from bellcrank.proof.moving.examine import Examiner, Tell, chunks_along
from bellcrank.proof.moving.findings import Findings
from bellcrank.proof.moving.solving import GRACE

CHUNKS_EACH = 8
"""Chunks for each worker, so that none waits long for the slowest."""

AT_ONCE = 2
"""Chunks that a process has at most: one to work on, and one to go on with."""

# ------------------------------------------------------------- over processes


def can_be_copied() -> bool:
    """Whether this process can be copied safely (fork).

    A copy shares the memory and costs next to nothing. But of several threads only one is
    copied, and what locks the others hold stays locked for ever; and on macOS the system's
    own libraries do not survive it. New processes that are sent the machine instead cost
    more than they save, up to a thousand routes and more: measured, and left out.
    """
    if multiprocessing.current_process().daemon:
        return False  # it may not have processes of its own
    # Threads of libraries, for arithmetic or the clock of a solver, hold no lock that a
    # process which only examines clauses would ever take; those of Python do.
    return (
        "fork" in multiprocessing.get_all_start_methods()
        and sys.platform != "darwin"
        and threading.active_count() == 1
    )


@dataclass(slots=True)
class _Worker:
    """A process, the line to it, and the chunks that it was given and has not answered."""

    process: BaseProcess
    line: Connection[Any, Any]
    away: list[int] = field(default_factory=list)


class OverProcesses:
    """Spreads over the cores of this machine: this process works too. What each touches
    of the machine is copied for it, so one process less saves much memory.

    No thread serves the processes: between two events this one looks what has come in.
    So it can be copied again, and Ctrl-C ends all at once.
    """

    def __init__(self, workers: int, deadline: float | None = None) -> None:
        self.workers = workers
        self.deadline = deadline

    def __call__(self, examiner: Examiner, goals: Sequence[int], tell: Tell) -> Iterator[Findings]:
        """Examine clauses; the findings of each chunk, in order, when all are done."""
        chunks = _cut(examiner, goals, self.workers)
        with _uncollected(), _Team(self, examiner, chunks, tell) as team:
            found = team.work()
        for place in sorted(found):
            yield found.pop(place)


class _Team:
    """The processes at work on some chunks, this one among them."""

    def __init__(
        self, over: OverProcesses, examiner: Examiner, chunks: list[array[int]], tell: Tell
    ) -> None:
        self.examiner = examiner
        self.chunks = chunks
        self.deadline = over.deadline
        self.tell = tell
        self.found: dict[int, Findings] = {}
        self.ahead = deque(range(len(chunks)))
        self.workers: list[_Worker] = []
        self.others = over.workers - 1

    def __enter__(self) -> _Team:
        try:
            for _ in range(self.others):
                self.workers.append(self._start())
        except OSError:
            pass  # no room for more: those that there are do the work
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        """Leaving it, for whatever reason, ends its processes at once."""
        for worker in self.workers:
            worker.process.kill()
            worker.line.close()
        for worker in self.workers:
            worker.process.join()
        self.workers.clear()

    def _start(self) -> _Worker:
        line, far_end = multiprocessing.Pipe()
        process = multiprocessing.get_context("fork").Process(
            target=_serve, args=(far_end, self.examiner, self.chunks), daemon=True
        )
        process.start()
        # With no other holder of that end, the line breaks when the process ends.
        far_end.close()
        return _Worker(process, line)

    def work(self) -> dict[int, Findings]:
        """Have all chunks examined."""
        while self.ahead or self._away():
            self._hand_out()
            if self.ahead:
                place = self.ahead.popleft()
                self.found[place] = self.examiner.examine(
                    self.chunks[place], self.deadline, lambda _: self._take_in(0)
                )
            else:
                self._take_in(self._patience())
            self.tell(sum(f.examined for f in self.found.values()))
        return self.found

    def _away(self) -> bool:
        return any(worker.away for worker in self.workers)

    def _patience(self) -> float | None:
        left = _left(self.deadline)
        return None if left is None else max(0.0, left) + GRACE

    def _hand_out(self) -> None:
        """Chunks for those who have few; from the far end, so that one part of the railway
        is looked at by one process."""
        for worker in list(self.workers):
            while self.ahead and len(worker.away) < AT_ONCE:
                place = self.ahead.pop()
                worker.away.append(place)
                try:
                    worker.line.send((place, _left(self.deadline)))
                except OSError:
                    self._lose(worker)
                    break

    def _take_in(self, seconds: float | None) -> None:
        """What has been found by now; if nothing has, wait so long for it."""
        by_line = {worker.line: worker for worker in self.workers if worker.away}
        ready = wait(list(by_line), seconds)
        if not ready and seconds:
            for worker in by_line.values():
                self._lose(worker)
        for line in ready:
            worker = by_line[line]  # type: ignore[index]
            try:
                place, found = worker.line.recv()
            except (EOFError, OSError):
                self._lose(worker)
                continue
            worker.away.remove(place)
            self.found[place] = found
        if ready:
            self._hand_out()

    def _lose(self, worker: _Worker) -> None:
        """A process is gone, or does not answer: what it had is done by others."""
        self.ahead.extendleft(worker.away)
        self.workers.remove(worker)
        worker.process.kill()
        worker.process.join()
        worker.line.close()


def _serve(line: Connection[Any, Any], examiner: Examiner, chunks: list[array[int]]) -> None:
    """In a process: examine one chunk after another until the line is closed."""
    # It is left to the process that started it to stop.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with suppress(EOFError, OSError):
        while True:
            place, seconds = line.recv()
            line.send((place, examiner.examine(chunks[place], _deadline(seconds))))


@contextmanager
def _uncollected() -> Iterator[None]:
    """Nobody goes through what there is now in search of garbage: that would touch, and
    so copy, all that processes share."""
    gc.freeze()
    try:
        yield
    finally:
        gc.unfreeze()


def local(deadline: float | None = None) -> OverProcesses | None:
    """The cores of this machine; None where there is one, or no process can be copied."""
    cores = os.cpu_count() or 1
    return OverProcesses(cores, deadline) if cores > 1 and can_be_copied() else None


# ----------------------------------------------------------- over any executor


_known = threading.local()
"""In a thread of a worker: the examiner it has been sent, with its name. An examiner
remembers what it has met, so no two threads may share one."""


class OverExecutor:
    """Spreads over any executor, on this machine or on others: for one prover, whose
    examiner the workers keep from one call to the next."""

    def __init__(self, executor: Executor, workers: int, deadline: float | None = None) -> None:
        self.name = uuid.uuid4().hex
        self.executor = executor
        self.workers = workers
        self.deadline = deadline

    def __call__(self, examiner: Examiner, goals: Sequence[int], tell: Tell) -> Iterator[Findings]:
        """Examine clauses; the findings of each chunk, in order, as they are done."""
        parts = (examiner.packed, examiner.further, examiner.thorough)
        sent = pickle.dumps(parts, pickle.HIGHEST_PROTOCOL)
        struck = examiner.clauses.struck()
        left = _left(self.deadline)
        chunks = _cut(examiner, goals, self.workers)
        futures: list[Future[Findings]] = []
        try:
            for chunk in chunks:
                futures.append(self.executor.submit(_examine, self.name, sent, chunk, struck, left))
        except RuntimeError:
            pass  # it takes no more: its workers are gone, or it has been shut down
        try:
            done = 0
            for place, chunk in enumerate(chunks):
                found = self._result(futures[place]) if place < len(futures) else None
                if found is None:
                    found = examiner.examine(chunk, self.deadline)
                done += found.examined
                tell(done)
                yield found
        finally:
            for future in futures:
                future.cancel()

    def _result(self, future: Future[Findings]) -> Findings | None:
        """What a worker found; None if it is lost."""
        left = _left(self.deadline)
        try:
            return future.result(None if left is None else max(0.0, left) + GRACE)
        except Exception:
            # Each executor has an error of its own for workers that are gone. Were it a
            # fault of ours, the chunk would fail here in the same way.
            return None


def _examine(
    name: str, sent: bytes, goals: array[int], struck: list[int], seconds: float | None
) -> Findings:
    """In a worker: examine clauses."""
    if getattr(_known, "name", None) != name:
        packed, further, thorough = pickle.loads(sent)
        _known.examiner = Examiner(packed, further, thorough=thorough)
        _known.name = name
    examiner: Examiner = _known.examiner
    examiner.clauses.stand_but_for(struck)
    return examiner.examine(goals, _deadline(seconds))


# --------------------------------------------------------------------- chunks


def _left(deadline: float | None) -> float | None:
    """The seconds up to a deadline; None if there is none."""
    return None if deadline is None else deadline - time.monotonic()


def _deadline(seconds: float | None) -> float | None:
    """The deadline in so many seconds, by the clock of this process."""
    return None if seconds is None else time.monotonic() + seconds


def _cut(examiner: Examiner, goals: Sequence[int], workers: int) -> list[array[int]]:
    """Chunks for so many workers."""
    return chunks_along(examiner, goals, workers * CHUNKS_EACH)
