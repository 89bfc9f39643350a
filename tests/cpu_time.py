"""Limits of time that do not count what else the machine is doing."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager


def cpu_seconds() -> float:
    """What this process has used of the processors, and those it has started and that
    have ended."""
    used = os.times()
    return used.user + used.system + used.children_user + used.children_system


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """Fail if what is done takes more seconds of the processors."""
    began = cpu_seconds()
    yield
    assert cpu_seconds() - began < seconds
