"""Where the program begins and ends as a process.

What the commands need takes a second to load, through libraries that an exception in their
midst may leave half loaded. So until they are there Ctrl-C simply ends the process; then it
is a KeyboardInterrupt, as always; and once a command has come to its end it changes nothing
any more. Nothing that takes long may be imported at the top.
"""

from __future__ import annotations

import _thread
import os
import signal
import sys
import threading
from contextlib import suppress
from typing import Any

STOPPED = 130
"""What a shell reports of a program stopped by Ctrl-C."""

_SOON = 0.02


def main() -> int:
    """Run the command that the arguments name; returns the exit status."""
    # Whoever started us may want that Ctrl-C does not reach us.
    wanted = signal.getsignal(signal.SIGINT) is not signal.SIG_IGN
    try:
        if wanted:
            signal.signal(signal.SIGINT, _leave)
        from bellcrank.cli import main as run

        sys.unraisablehook = _unraisable
        if wanted:
            signal.signal(signal.SIGINT, signal.default_int_handler)
        return run()
    except KeyboardInterrupt:
        _say_stopped()
        return STOPPED
    finally:
        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            if hasattr(signal, name):
                signal.signal(getattr(signal, name), signal.SIG_IGN)


def _leave(*_: Any) -> None:
    _say_stopped()
    os._exit(STOPPED)


def _say_stopped() -> None:
    with suppress(OSError):  # perhaps nobody listens
        os.write(2, b"stopped\n")


def _unraisable(about: sys.UnraisableHookArgs) -> None:
    """Where Python has no way to let an exception through, as while an object is taken down,
    it drops it. A request to stop is then made once more, a moment later."""
    if issubclass(about.exc_type, KeyboardInterrupt):
        again = threading.Timer(_SOON, _thread.interrupt_main)
        again.daemon = True
        again.start()
    else:
        sys.__unraisablehook__(about)
