"""Having work done in a process of its own, which may use so much time and memory.

The process is started anew and not copied from this one, whose other threads may hold
locks; so it works alike on every system. Where a system knows no limits on memory, only
time is bounded.
"""

from __future__ import annotations

import json
import os
import pickle
import signal
import subprocess
import sys
from typing import Any

from bellcrank.emit.work import FailedError, Order, Work

SECONDS_TO_START = 30.0
"""How much longer is waited for an answer than the work may take: until the process has
begun, on a machine that is busy."""

LONGEST_ANSWER = 400_000_000
"""Characters."""


class OutOfBoundsError(FailedError):
    """Work that took more time or memory than it may."""


def within_bounds(work: Work, seconds: float, memory: int, longest: int = LONGEST_ANSWER) -> Any:
    """What comes of a piece of work, as data from JSON.

    Raises FailedError with the reason if it cannot be done, and OutOfBoundsError if it
    takes more than it may.
    """
    order = pickle.dumps(Order(work, seconds, memory, longest))
    command = [sys.executable, "-P", "-c", "from bellcrank.emit.work import main; main()"]
    try:
        done = subprocess.run(
            command,
            input=order,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=seconds + SECONDS_TO_START,
            env=_environment(),
            check=False,
        )
    except subprocess.TimeoutExpired:
        raise OutOfBoundsError(_too_long(seconds)) from None
    except OSError as error:
        raise FailedError(
            f"no process can be started for it, with bounds: {error.strerror}"
        ) from None
    if hasattr(signal, "SIGALRM") and done.returncode == -signal.SIGALRM:
        raise OutOfBoundsError(_too_long(seconds))
    try:
        answer = json.loads(done.stdout)
    except ValueError:
        # It was ended, or came to its end without a word.
        raise OutOfBoundsError("it needs more memory or time than it may") from None
    if "failed" in answer:
        raise FailedError(answer["failed"])
    if "beyond" in answer:
        raise OutOfBoundsError(answer["beyond"])
    return answer["made"]


def _too_long(seconds: float) -> str:
    return f"it takes more than {seconds:g} s"


def _environment() -> dict[str, str]:
    """The process finds the same modules as this one, and reads and writes UTF-8."""
    path = os.pathsep.join(folder for folder in sys.path if folder)
    return {**os.environ, "PYTHONPATH": path, "PYTHONUTF8": "1"}
