"""Limits of time that do not count what else the machine is doing."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from contextlib import contextmanager


def cpu_seconds() -> float:
    """What this process has used of the processors, and those it has started and that
    have ended."""
    used = os.times()
    return used.user + used.system + used.children_user + used.children_system


SLOW_HOUR = 3.0
"""How many times as long something may take as its limit says, which is that of a quiet machine:
one shared with others, where memory is short, took up to 2.6 times the CPU time at one hour that it
took for the same at another."""


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """Fail if what is done takes more seconds of the processors, at a slow hour too."""
    began = cpu_seconds()
    yield
    assert cpu_seconds() - began < seconds * SLOW_HOUR


def limits_count_cpu_time() -> None:
    """From now on limits of time in this process count its own CPU time.

    A limit on a proof tells the user how long to wait, so it is of time that passes. A
    campaign with such limits would find out less on a busy machine, and not say so.
    """
    time.monotonic = time.process_time
