"""Requests to stop: Ctrl-C, a terminal that is closed, a process that is told to end.

A KeyboardInterrupt may be raised between any two instructions: after a message has left
and before it is counted, or in the clean-up that was to put signals to stop. So while
commands are sent a request is only counted, and looked for wherever stopping is safe.
"""

from __future__ import annotations

import signal
from collections.abc import Callable
from contextlib import suppress
from types import FrameType, TracebackType
from typing import Any, Protocol, TypeVar

T = TypeVar("T")

_SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP")


class StopRequests(Protocol):
    @property
    def asked(self) -> int:
        """How often somebody has asked to stop."""


class Never:
    """Nobody asks."""

    asked = 0


class Stopping:
    """As a context: every request to stop reaches this object while it lasts.

    At first a request is a KeyboardInterrupt, as always; after `defer` it is only counted,
    except while a person is waited for (`while_asking`).

    lasts: the process ends with what it was made for. A request that comes after commands
    were sent, between the last word on them and the end of the process, then changes neither
    how they ended nor the exit status: it is still only counted.
    """

    def __init__(self, *, lasts: bool = False) -> None:
        self.asked = 0
        self._lasts = lasts
        self._raising = True
        self._before: dict[int, Any] = {}

    def __enter__(self) -> Stopping:
        for name in _SIGNALS:
            # Not every system has them all, and only the main thread may set them.
            with suppress(ValueError, AttributeError, OSError):
                number = getattr(signal, name)
                # What is ignored is so by the wish of whoever started the process.
                if signal.getsignal(number) is not signal.SIG_IGN:
                    self._before[number] = signal.signal(number, self._stop)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._lasts and not self._raising:
            return
        for number, handler in self._before.items():
            # None: it was set by something that is not Python, and cannot be set again.
            signal.signal(number, signal.SIG_DFL if handler is None else handler)

    def _stop(self, number: int, frame: FrameType | None) -> None:
        self.asked += 1
        if self._raising:
            raise KeyboardInterrupt

    def defer(self) -> None:
        """From now on a request is only counted."""
        self._raising = False

    def while_asking(self, ask: Callable[[], T]) -> T:
        """What `ask` returns. While it runs, a request is a KeyboardInterrupt, for what
        reads a line would else read on; one that was made before is raised at once."""
        before = self._raising
        try:
            try:
                self._raising = True
                if not before and self.asked:
                    raise KeyboardInterrupt
                return ask()
            finally:
                self._raising = before
        except KeyboardInterrupt:
            # It may have come just before the line above.
            self._raising = before
            raise
