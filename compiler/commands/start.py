"""Where the program begins and ends as a process.

What the commands need takes a second to load, through libraries that an exception in their
midst may leave half loaded. So until they are there Ctrl-C simply ends the process; then it
is a KeyboardInterrupt, as always; and once a command has come to its end it changes nothing
any more. Nothing that takes long may be imported at the top.
"""

from __future__ import annotations

import _thread
import gc
import os
import signal
import sys
import threading
import time
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
        gc.disable()  # what is loaded stays: a search through it for garbage finds nothing
        from bellcrank.commands.cli import load
        from bellcrank.commands.cli import main as run

        load(sys.argv[1:])
        gc.freeze()
        gc.enable()
        sys.unraisablehook = _unraisable
        if wanted:
            signal.signal(signal.SIGINT, signal.default_int_handler)
        return run(whole_process=True)
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


def _ask_again() -> None:
    main_thread = threading.main_thread().ident
    if hasattr(signal, "pthread_kill") and main_thread is not None:
        # Sent to the thread, for it may be asleep.
        signal.pthread_kill(main_thread, signal.SIGINT)
    else:
        _thread.interrupt_main()


def _ask_soon() -> None:
    time.sleep(_SOON)
    _ask_again()


def _unraisable(about: sys.UnraisableHookArgs) -> None:
    """What is raised while an object is taken down cannot be let through, and Python drops
    it. A request to stop is then made once more, a moment later. Of the rest only developers
    hear: what an interrupt has left half made, as a context of the solver, fails when it is
    taken down, and that is no concern of whoever pressed Ctrl-C."""
    if issubclass(about.exc_type, KeyboardInterrupt):
        while True:
            try:
                # Of a thread of `threading` it is waited until it runs.
                _thread.start_new_thread(_ask_soon, ())
                return
            except KeyboardInterrupt:
                continue  # one more request, just now; asking twice does no harm
    elif sys.flags.dev_mode:
        sys.__unraisablehook__(about)
