"""Answers kept from one run to another, in the user's cache folder.

SQLite keeps them: several programs may read and write at once, and a write that is cut off leaves
what was there before. Everything that fails, a file that is damaged or none that can be made, means
that nothing is known; nothing is ever reported from here.

What is trusted is the folder. It is made for its owner alone (mode 0700), and one that others may
write to, or that belongs to somebody else, is not used: whoever can write there could have a
verdict say `proved` that is not so, as whoever can write to the program itself could. Against
accidents, a torn page or another program's file, each answer has a checksum over its key and
itself, and one of which that is wrong is not known.

At most `MOST_BYTES` are kept; what was not asked for longest goes first.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
import stat
import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from itertools import islice
from pathlib import Path

import platformdirs

from bellcrank.proof.kept.kept_model import SIZE, InMemory, Shown

MOST_BYTES = 64 << 20
"""Of the file; a railway of 1,000 routes takes 5 MB."""

DAY = 86_400
"""Seconds. When an answer was last asked for is noted by the day."""

WAIT = 0.5
"""Seconds to wait for another program that writes."""

AT_ONCE = 500
"""Keys in one question to the database."""

CHECK = 8
"""Bytes of a checksum."""

_DAMAGED = (sqlite3.Error, ValueError, OverflowError, OSError)
"""What a file may lead to in which anything may stand: names and numbers in it that cannot be
read, too."""

_TABLE = """CREATE TABLE IF NOT EXISTS shown
    (key BLOB PRIMARY KEY, said BLOB NOT NULL, day INTEGER NOT NULL) WITHOUT ROWID"""


def kept_on_this_machine() -> InMemory | None:
    """Where this user's answers are kept; None if that is not wanted (BELLCRANK_KEPT=no), or
    nowhere is safe."""
    if os.environ.get("BELLCRANK_KEPT", "").lower() in ("no", "off", "0"):
        return None
    ours = platformdirs.user_cache_path("bellcrank", appauthor=False)
    folder = ours / "proofs"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        safe = _own(ours) and _own(folder)
    except OSError:
        return None
    return InMemory(OnDisk(folder)) if safe else None


def _own(folder: Path) -> bool:
    """Whether nobody but this user writes to a folder. Raises OSError if it cannot be told."""
    if os.name != "posix":
        return True  # profiles of users are their own there
    state = folder.lstat()
    others = stat.S_IWGRP | stat.S_IWOTH
    return (
        stat.S_ISDIR(state.st_mode) and state.st_uid == os.getuid() and not state.st_mode & others
    )


class OnDisk:
    """Keeps answers in a file. folder: where; only its owner may write there."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "shown.sqlite"

    def known(self, keys: Iterable[bytes]) -> Mapping[bytes, Shown]:
        found: dict[bytes, Shown] = {}
        if not self.path.exists():
            return found
        old: list[bytes] = []
        today = int(time.time() // DAY)
        with suppress(*_DAMAGED), self._open() as database:
            for some in _batches(keys):
                marks = ",".join("?" * len(some))
                rows = database.execute(
                    f"SELECT key, said, day FROM shown WHERE key IN ({marks})", some
                )
                for key, said, day in rows:
                    shown = _read(key, said)
                    if shown is not None:
                        found[key] = shown
                        if day != today:
                            old.append(key)
            database.executemany(
                "UPDATE shown SET day = ? WHERE key = ?", [(today, key) for key in old]
            )
        return found

    def keep(self, shown: Iterable[tuple[bytes, Shown]]) -> None:
        today = int(time.time() // DAY)
        rows = [(key, _written(key, its), today) for key, its in shown]
        try:
            self._write(rows)
        except sqlite3.OperationalError:
            return  # another program writes, or the disk is full
        except _DAMAGED:
            with suppress(OSError):  # begin anew the next time
                self.path.unlink()

    def _write(self, rows: list[tuple[bytes, bytes, int]]) -> None:
        with self._open() as database:
            database.execute(_TABLE)
            database.executemany("INSERT OR REPLACE INTO shown VALUES (?, ?, ?)", rows)
            size = self._size(database)
            if size > MOST_BYTES:
                (count,) = database.execute("SELECT count(*) FROM shown").fetchone()
                most = count - int(count * 0.7 * MOST_BYTES / size)
                database.execute(
                    "DELETE FROM shown WHERE key IN (SELECT key FROM shown ORDER BY day LIMIT ?)",
                    [most],
                )

    @staticmethod
    def _size(database: sqlite3.Connection) -> int:
        """Bytes of the file that are in use."""
        (pages,) = database.execute("PRAGMA page_count").fetchone()
        (free,) = database.execute("PRAGMA freelist_count").fetchone()
        (size,) = database.execute("PRAGMA page_size").fetchone()
        return int((pages - free) * size)

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        """The database, in one transaction."""
        with closing(sqlite3.connect(self.path, timeout=WAIT)) as database, database:
            # Of an answer that is lost when the power fails nothing is lost but time.
            database.execute("PRAGMA synchronous = OFF")
            yield database


def _written(key: bytes, shown: Shown) -> bytes:
    flags = bytes([shown.in_any_state])
    said = flags + shown.obligations.to_bytes(4, "big") + b"".join(shown.helping)
    return _checksum(key, said) + said


def _read(key: object, written: object) -> Shown | None:
    """What was written; None if that is not as it was written."""
    if not isinstance(key, bytes) or not isinstance(written, bytes):
        return None
    check, said = written[:CHECK], written[CHECK:]
    if len(key) != SIZE or len(said) % SIZE != 5 or check != _checksum(key, said):
        return None
    helping = tuple([said[at : at + SIZE] for at in range(5, len(said), SIZE)])
    return Shown(int.from_bytes(said[1:5], "big"), helping, bool(said[0]))


def _checksum(key: bytes, said: bytes) -> bytes:
    return hashlib.blake2b(key + said, digest_size=CHECK).digest()


def _batches(keys: Iterable[bytes]) -> Iterator[list[bytes]]:
    left = iter(keys)
    while some := list(islice(left, AT_ONCE)):
        yield some
