"""Folders in which a set is made ready, and locks.

A folder of passing use is locked as long as whoever made it lives, so that one which a
kill has left behind can be told and cleared away.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path

from bellcrank.file_sets.not_written import NotWrittenError, told_of

if sys.platform != "win32":
    import fcntl

PREFIX = ".bellcrank-building-"
"""How the names of such folders begin."""

PATIENCE = 30.0
"""Seconds to wait for another build that writes into the same folder."""


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Nobody else is in the same block for the same folder, where the system has `flock`.
    A folder that is not there is not locked.

    Raises NotWrittenError if another build takes too long.
    """
    end = time.monotonic() + PATIENCE
    while True:
        handle = _opened(folder)
        if handle is None:
            yield
            return
        try:
            while not held(handle):
                if time.monotonic() > end:
                    raise NotWrittenError(f"{folder} is being written by another build")
                time.sleep(0.02)
            # While we waited, another folder may have taken its place.
            if _is_still(handle, folder):
                yield
                return
        finally:
            os.close(handle)


def held(handle: int) -> bool:
    """Lock an open file or folder; False if somebody else has it locked."""
    if sys.platform != "win32":
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError:
            pass  # a file system without locks
    return True


@contextmanager
def staging(
    parent: Path,
    prefix: str,
    clear: Callable[[Path], None],
    making: AbstractContextManager[None],
) -> Iterator[Path]:
    """A new folder of passing use. What is left of it in the end is cleared; what cannot be
    is left for the next build.

    making: keeps others from clearing it before it is locked.
    Raises OSError if it cannot be made.
    """
    with making:
        path = Path(tempfile.mkdtemp(prefix=prefix, dir=parent))
        handle = _opened(path)
        if handle is not None:
            held(handle)
    try:
        yield path
    finally:
        try:
            with suppress(OSError):
                clear(path)
        finally:
            if handle is not None:
                os.close(handle)


def clear_dead(parent: Path, prefix: str, clear: Callable[[Path], None]) -> None:
    """Clear what builds have left behind that no longer live."""
    with suppress(OSError):
        for path in sorted(parent.iterdir()):
            if not path.name.startswith(prefix) or path.is_symlink() or not path.is_dir():
                continue
            handle = _opened(path)
            try:
                if handle is None or held(handle):
                    with suppress(OSError):
                        clear(path)
            finally:
                if handle is not None:
                    os.close(handle)


def sync_folder(folder: Path) -> None:
    """Let the names in a folder outlast a loss of power, where the system can."""
    handle = _opened(folder)
    if handle is not None:
        try:
            with suppress(OSError):
                os.fsync(handle)
        finally:
            os.close(handle)


def sync(folder: Path, files: Iterable[Path], told: Path) -> None:
    """Let files outlast a loss of power, and the names in the folder in which they all lie.
    They are all written before the first is waited for, which takes much less time.

    told: the folder as messages call it. Raises NotWrittenError.
    """
    for path in files:
        with told_of(told), path.open("rb+") as stream:
            os.fsync(stream.fileno())
    for inner, _, _ in os.walk(folder):
        sync_folder(Path(inner))


def write_new(path: Path, data: bytes, told: Path) -> None:
    """Write a new file, with the folders that it lies in.

    told: the file as messages call it. Raises NotWrittenError.
    """
    with told_of(told):
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _BINARY, 0o666)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)


_BINARY = getattr(os, "O_BINARY", 0)


def _opened(folder: Path) -> int | None:
    """A handle of a folder; None where there is none to be had."""
    try:
        return os.open(folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
    except OSError:
        return None


def _is_still(handle: int, folder: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(handle), folder.stat())
    except OSError:
        return False
