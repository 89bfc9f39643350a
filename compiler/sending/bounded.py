"""A call that may last only so long, whatever the system does with it.

Looking a name up, opening a device, waiting until a line has drained: some calls have no
limit of their own, and none can be broken off from outside. Here they run in a thread that
is left behind when they take too long.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Generic, TypeVar

T = TypeVar("T")

_GLANCE = 0.02
"""Seconds between two looks whether somebody has given it up."""


class LateError(Exception):
    """It took too long, or somebody gave it up. It may still be going on."""


class _Call(Generic[T]):
    """A call in a thread of its own. undo: what is done with a result that came too late."""

    def __init__(self, act: Callable[[], T], undo: Callable[[T], object]) -> None:
        self._act = act
        self._undo = undo
        self._lock = threading.Lock()
        self._left = False
        self._results: list[T] = []
        self._error: BaseException | None = None
        self.ended = threading.Event()

    def run(self) -> None:
        try:
            result = self._act()
        except BaseException as error:
            self._error = error
        else:
            with self._lock:
                left = self._left
                self._results.append(result)
            if left:
                self._dispose()
        self.ended.set()

    def result(self) -> T:
        if self._error is not None:
            raise self._error
        return self._results[0]

    def leave(self) -> None:
        with self._lock:
            self._left = True
            came = bool(self._results)
        if came:
            self._dispose()

    def _dispose(self) -> None:
        with suppress(Exception):
            self._undo(self._results[0])


def within(
    seconds: float,
    act: Callable[[], T],
    *,
    given_up: Callable[[], bool] = lambda: False,
    undo: Callable[[T], object] = lambda result: None,
) -> T:
    """What `act` returns or raises; LateError if that takes longer, or once it is given up."""
    call = _Call(act, undo)
    end = time.monotonic() + seconds
    try:
        threading.Thread(target=call.run, daemon=True).start()
        while not call.ended.wait(max(0.0, min(_GLANCE, end - time.monotonic()))):
            if given_up() or time.monotonic() >= end:
                raise LateError
    except BaseException:
        call.leave()
        raise
    return call.result()
