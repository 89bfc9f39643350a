"""The journal: everything that was heard, with what was decided about it, in an SQLite file.

What is heard at one time is written in one transaction, and that is done before anything of it
takes effect. The file is in WAL mode with `synchronous` NORMAL (SQLite documentation, "Write-Ahead
Logging"): whatever ends the process, all that was committed is there; a power cut may take the
last moments, and never leaves a file that cannot be read. Nothing is taken up from it but what
people are told: after a start no signal is off and nothing is thrown, whatever stands there.

It holds a stated size: beyond it the oldest rows go.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import astuple, dataclass
from datetime import datetime
from pathlib import Path

from bellcrank.live.decisions import Decision, Doing, EndPulse, Heard, Known, Light, Show, Throw

VERSION = 1
"""Of the tables, in `PRAGMA user_version`."""

_TABLES = """
CREATE TABLE run (
  number INTEGER PRIMARY KEY, began TEXT NOT NULL, ended TEXT, title TEXT NOT NULL,
  sha256 TEXT NOT NULL, compiler TEXT NOT NULL
);
CREATE TABLE entry (
  number INTEGER PRIMARY KEY, run INTEGER NOT NULL, wall TEXT NOT NULL, at REAL NOT NULL,
  kind TEXT NOT NULL, of TEXT NOT NULL, value TEXT NOT NULL, who TEXT NOT NULL,
  outcome TEXT NOT NULL, told TEXT NOT NULL, doing TEXT NOT NULL, known TEXT
);
CREATE INDEX entry_of_run ON entry (run, number);
"""

_PAGE = 4096
_CHECK_EVERY = 512
"""Entries after which the size is looked at."""


class JournalError(Exception):
    """The journal cannot be opened or written, as a sentence without its full stop."""


@dataclass(frozen=True, slots=True)
class Run:
    """From one start of the program to its end.

    ended: None if it ended without being able to say so. began, ended: ISO 8601, with the zone.
    """

    number: int
    began: str
    ended: str | None
    title: str
    sha256: str
    compiler: str


@dataclass(frozen=True, slots=True)
class Entry:
    """A decision, as it stands in the journal. wall: the time of day, ISO 8601."""

    number: int
    wall: str
    decision: Decision


class Reading:
    """A journal that is read."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db

    def runs(self) -> list[Run]:
        """All runs, in their order."""
        rows = self._db.execute(
            "SELECT number, began, ended, title, sha256, compiler FROM run ORDER BY number"
        )
        return [Run(*row) for row in rows]

    def entries(self, run: int, after: int = 0) -> Iterator[Entry]:
        """The entries of a run, in their order. after: only those behind this number."""
        rows = self._db.execute(
            "SELECT number, wall, at, kind, of, value, who, outcome, told, doing, known "
            "FROM entry WHERE run = ? AND number > ? ORDER BY number",
            (run, after),
        )
        for number, wall, *row in rows:
            yield Entry(number, wall, _decision(row))

    def close(self) -> None:
        with suppress(sqlite3.Error):
            self._db.close()


def reading(path: Path) -> Reading:
    """A journal to read, be it of a run that goes on. Raises JournalError."""
    if not path.exists():
        raise JournalError(f"there is no journal {path}")
    try:
        return Reading(_prepared(sqlite3.connect(f"{path.absolute().as_uri()}?mode=rw", uri=True)))
    except sqlite3.Error as error:
        raise JournalError(f"the journal {path} cannot be read: {error}") from None


class Journal(Reading):
    """An open journal, and in it the run that goes on.

    set_aside: where a file that could not be read was put, if there was one.
    """

    def __init__(self, path: Path | None, megabytes: int = 64) -> None:
        """path: None keeps it in memory. Raises JournalError."""
        self.path = path
        self.set_aside: Path | None = None
        self._most_pages = megabytes * 1_000_000 // _PAGE
        self._run = 0
        self._unlooked = 0
        try:
            super().__init__(self._opened())
        except (sqlite3.Error, OSError) as error:
            raise JournalError(f"the journal {path} cannot be opened: {error}") from None

    def _opened(self) -> sqlite3.Connection:
        if self.path is None:
            return _prepared(sqlite3.connect(":memory:"))
        try:
            return _prepared(sqlite3.connect(self.path, timeout=1.0))
        except sqlite3.DatabaseError as error:
            if isinstance(error, sqlite3.OperationalError) or not self.path.exists():
                raise  # locked, or no place for it: it may be quite all right
        # Not a journal any more: it is kept for people to look at, and a new one is begun.
        stamp = datetime.now().astimezone().strftime("%Y%m%d-%H%M%S")
        self.set_aside = self.path.with_name(f"{self.path.name}.unreadable-{stamp}")
        self.path.rename(self.set_aside)
        for more in ("-wal", "-shm"):
            with suppress(FileNotFoundError):
                Path(f"{self.path}{more}").unlink()
        return _prepared(sqlite3.connect(self.path, timeout=1.0))

    # ----------------------------------------------------------------- writing

    def begin(self, title: str, sha256: str, compiler: str, wall: str) -> int:
        """Begin a run; its number."""
        with self._db:
            row = self._db.execute(
                "INSERT INTO run (began, title, sha256, compiler) VALUES (?, ?, ?, ?)",
                (wall, title, sha256, compiler),
            )
        self._run = row.lastrowid or 0
        return self._run

    def write(self, decisions: Iterable[Decision], wall: str) -> int:
        """Write decisions, all or none; the number of the last entry. Raises JournalError."""
        rows = [(self._run, wall, *_row(decision)) for decision in decisions]
        try:
            with self._db:
                self._db.executemany(
                    "INSERT INTO entry (run, wall, at, kind, of, value, who, outcome, told, doing, "
                    "known) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                    rows,
                )
                (last,) = self._db.execute("SELECT max(number) FROM entry").fetchone()
                self._unlooked += len(rows)
                if self._unlooked >= _CHECK_EVERY:
                    self._unlooked = 0
                    self._shorten()
        except sqlite3.Error as error:
            raise JournalError(f"the journal {self.path} takes nothing more: {error}") from None
        return int(last or 0)

    def _shorten(self) -> None:
        """Let the oldest go, an eighth at a time, while it is too large."""
        while self._pages_in_use() > self._most_pages:
            first, last = self._db.execute("SELECT min(number), max(number) FROM entry").fetchone()
            if first is None or first == last:
                break
            oldest = first + (last - first) // 8 + 1
            self._db.execute("DELETE FROM entry WHERE number < ?", (oldest,))
        self._db.execute(
            "DELETE FROM run WHERE number <> ? AND number NOT IN (SELECT run FROM entry)",
            (self._run,),
        )

    def _pages_in_use(self) -> int:
        (pages,) = self._db.execute("PRAGMA page_count").fetchone()
        (free,) = self._db.execute("PRAGMA freelist_count").fetchone()
        return int(pages - free)

    def end(self, wall: str) -> None:
        """The run ends, and says so."""
        with suppress(sqlite3.Error), self._db:
            self._db.execute("UPDATE run SET ended = ? WHERE number = ?", (wall, self._run))

    def last(self, count: int) -> list[Entry]:
        """The last entries of the run that goes on, in their order."""
        rows = self._db.execute(
            "SELECT number, wall, at, kind, of, value, who, outcome, told, doing, known "
            "FROM entry WHERE run = ? ORDER BY number DESC LIMIT ?",
            (self._run, count),
        ).fetchall()
        return [Entry(number, wall, _decision(row)) for number, wall, *row in reversed(rows)]


def _prepared(db: sqlite3.Connection) -> sqlite3.Connection:
    """A journal made ready: its tables, and what is promised of it.

    Raises sqlite3.DatabaseError if it is none.
    """
    try:
        db.execute("PRAGMA journal_mode = WAL")
        db.execute("PRAGMA synchronous = NORMAL")
        (version,) = db.execute("PRAGMA user_version").fetchone()
        if version == 0:
            (tables,) = db.execute("SELECT count(*) FROM sqlite_master").fetchone()
            if tables:
                raise sqlite3.DatabaseError("it is a file of something else")
            db.executescript(_TABLES + f"PRAGMA user_version = {VERSION};")
        elif version != VERSION:
            raise sqlite3.DatabaseError(f"it is of version {version}")
        (sound,) = db.execute("PRAGMA quick_check(1)").fetchone()
        if sound != "ok":
            raise sqlite3.DatabaseError(sound)
    except sqlite3.Error:
        db.close()
        raise
    return db


_Row = tuple[float, str, str, str, str, str, str, str, str | None]

_SORTS: Mapping[type, str] = {
    Show: "show",
    Throw: "throw",
    EndPulse: "end pulse",
    Light: "light",
}
_OF_SORT: Mapping[str, Callable[..., Doing]] = {
    "show": Show,
    "throw": Throw,
    "end pulse": EndPulse,
    "light": Light,
}


def _row(decision: Decision) -> _Row:
    heard = decision.heard
    return (
        decision.at,
        heard.kind,
        heard.of,
        heard.value,
        heard.who,
        decision.outcome,
        json.dumps(decision.told, ensure_ascii=False),
        json.dumps([[_SORTS[type(d)], *astuple(d)] for d in decision.doing], ensure_ascii=False),
        None if decision.known is None else json.dumps(decision.known, ensure_ascii=False),
    )


def _decision(row: Sequence[object]) -> Decision:
    at, kind, of, value, who, outcome, told, doing, known = row
    found = None
    if known is not None:
        occupied, lies = json.loads(str(known))
        found = Known(tuple(occupied), tuple((d, p) for d, p in lies))
    return Decision(
        Heard(kind, of, value, who),  # type: ignore[arg-type]  # as it was written
        float(str(at)),
        outcome,  # type: ignore[arg-type]
        tuple(json.loads(str(told))),
        tuple(_OF_SORT[sort](*words) for sort, *words in json.loads(str(doing))),
        found,
    )
