"""A piece of work done within bounds of time and memory, in a process of its own.

`bounds.py` starts the process, packs an `Order` for it and reads its answer, one object of
JSON. Nothing is imported here before it is needed: such a process is started for each target
of a user's own.
"""

from __future__ import annotations

import contextlib
import json
import pickle
import signal
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol


class FailedError(Exception):
    """A piece of work that cannot be done, with the reason as a sentence."""


class Work(Protocol):
    """What can be done within bounds. It is sent to another process, so it is a value."""

    def run(self) -> Any:
        """Do it; what comes of it is data as JSON knows it.

        Raises FailedError with a sentence if it cannot be done.
        """


@dataclass(frozen=True, slots=True)
class Order:
    """A piece of work, and within what bounds.

    seconds: by the clock, from when the work begins. memory: bytes beyond what the
        process has then. longest: characters of the answer.
    """

    work: Work
    seconds: float
    memory: int
    longest: int


def main() -> None:
    """Do what is ordered on standard input and answer on standard output."""
    said, answer = sys.stdin.buffer, sys.stdout.buffer
    # What a library prints must not get into the answer.
    sys.stdout = sys.stderr
    order: Order = pickle.load(said)
    _limit_time(order.seconds)
    _limit_memory(order.memory)
    try:
        told = json.dumps({"made": order.work.run()})
    except FailedError as error:
        told = json.dumps({"failed": str(error)})
    except MemoryError:
        told = json.dumps({"beyond": "it needs more memory than it may"})
    except RecursionError:
        told = json.dumps({"beyond": "it is nested too deeply"})
    if len(told) > order.longest:
        told = json.dumps({"beyond": f"it makes more than {order.longest:,} characters"})
    answer.write(told.encode("ascii"))
    answer.flush()


def _limit_time(seconds: float) -> None:
    """Let the system end this process when its time is up, even amid work that Python
    cannot interrupt; where there are no such signals, whoever started it does so."""
    if hasattr(signal, "setitimer"):
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_REAL, seconds)


def _limit_memory(memory: int) -> None:
    """Let this process have so much more memory, where the system can tell how much it
    has already."""
    try:
        pages = int(Path("/proc/self/statm").read_text("ascii").split()[0])
    except OSError:
        return
    import resource  # is not there on every system

    most = pages * resource.getpagesize() + memory
    with contextlib.suppress(ValueError, OSError):  # less is allowed already
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
