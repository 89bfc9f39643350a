"""Work that is killed at a certain step, or at any moment, and what it leaves."""

from __future__ import annotations

import os
import signal
import sys
import time
import traceback
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from bellcrank.file_sets.journal import UNFINISHED
from bellcrank.file_sets.manifest import MANIFEST, Origin
from bellcrank.file_sets.staging import PREFIX

needs_fork = pytest.mark.skipif(not hasattr(os, "fork"), reason="processes cannot be copied here")

Files = dict[str, bytes]


def origin(source: str, status: str = "proved") -> Origin:
    return Origin("A notice.", status, "bellcrank 0", source)


OLD: Files = {"a.csv": b"old a", "b.json": b"old b" * 500, "deep/er/c.txt": b"old c"}
NEW: Files = {"a.csv": b"new a, longer", "b.json": b"n", "deep/e.txt": b"new e", "f.txt": b"f"}


def tree(folder: Path) -> Files:
    """All files below a folder."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def built(folder: Path, mine: Mapping[str, bytes] = {}) -> Files:
    """What builds have written into a folder, without the manifest; what is the user's own
    must be there too."""
    files = tree(folder)
    for name, data in mine.items():
        assert files.pop(name) == data, name
    files.pop(MANIFEST, None)
    return files


def leftovers(folder: Path) -> list[Path]:
    """What is of passing use, in a folder or beside it."""
    return [
        path
        for parent in (folder.parent, folder)
        for path in parent.iterdir()
        if path.name.startswith(PREFIX) or path.name == UNFINISHED or path.suffix == ".part"
    ]


def started(work: Callable[[], None]) -> int:
    """A process that does some work and ends; returns its number."""
    process = os.fork()
    if process:
        return process
    try:
        work()
    except BaseException:
        traceback.print_exc()
        os._exit(1)
    os._exit(0)


def ended(process: int) -> int:
    """How a process has ended: its exit status, or less than nothing if it was killed."""
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])


def killed_before(step: int, work: Callable[[], None]) -> bool:
    """Do some work in a process of its own that is killed before it opens, makes, names
    or deletes a file for the so-manieth time; False if it has ended before that."""

    def watched() -> None:
        seen = 0

        def watch(event: str, _: object) -> None:
            nonlocal seen
            if event.startswith(("open", "os.", "shutil.", "tempfile.", "ctypes.", "fcntl.")):
                seen += 1
                if seen == step:
                    os.kill(os.getpid(), signal.SIGKILL)

        sys.addaudithook(watch)
        work()

    status = ended(started(watched))
    assert status in (0, -signal.SIGKILL), status
    return status != 0


def killed_after(seconds: float, work: Callable[[], None]) -> None:
    """Do some work over and over in a process of its own, and kill it some time after it
    has begun."""
    told, tell = os.pipe()

    def again_and_again() -> None:
        os.write(tell, b"!")
        while True:
            work()

    process = started(again_and_again)
    try:
        os.read(told, 1)
        time.sleep(seconds)
    finally:
        os.kill(process, signal.SIGKILL)
        os.close(told)
        os.close(tell)
    assert ended(process) == -signal.SIGKILL
