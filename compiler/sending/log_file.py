"""The file of a log: opened only if it is one or can become one, read, and added to."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from bellcrank.sending.log_rows import DamagedRowError, Entry, Row, read, written
from bellcrank.sending.older_log import OlderLog

_LONGEST = 1 << 16
"""Bytes of a line; what is longer is no row."""

_BEGIN = '{"time": "'
"""How each row begins; one that was not written to its end is still a row of a log."""


class LogError(Exception):
    """Why a log cannot be used, as a sentence without its full stop."""


@dataclass(frozen=True, slots=True)
class LogRead:
    """What a log says. damaged: the numbers of lines that cannot be read."""

    entries: tuple[Entry, ...]
    damaged: tuple[int, ...]


class LogFile:
    """A log that is open to be added to, each row at once."""

    def __init__(self, path: Path) -> None:
        """Raises LogError."""
        self._path = path
        try:
            # It is not opened to find out: a pipe without a reader would hold us up.
            if path.exists() and not path.is_file():
                raise LogError(f"{path} is not a regular file, so it cannot be a log")
            flags = os.O_RDWR | os.O_APPEND | os.O_CREAT | getattr(os, "O_NONBLOCK", 0)
            self._file = os.open(path, flags | getattr(os, "O_BINARY", 0), 0o666)
        except (OSError, ValueError) as error:
            raise LogError(f"{path} cannot be written: {_reason(error)}") from None
        try:
            self._torn = self._check()
        except BaseException:
            self.close()
            raise

    def _check(self) -> bool:
        """Whether the last line has no end. Raises LogError if it is no log."""
        try:
            about = os.fstat(self._file)
            if not stat.S_ISREG(about.st_mode):
                raise LogError(f"{self._path} is not a regular file, so it cannot be a log")
            if not about.st_size:
                return False
            first = next(self._lines(), "")
            os.lseek(self._file, -1, os.SEEK_END)
            torn = os.read(self._file, 1) != b"\n"
        except OSError as error:
            raise LogError(f"{self._path} cannot be read: {_reason(error)}") from None
        if not first.startswith(_BEGIN):
            try:
                OlderLog(datetime.now().astimezone()).read(first)
            except DamagedRowError:
                raise LogError(
                    f"{self._path} is not a log of what was sent, so nothing is added to it: "
                    "its first line is not a row of one"
                ) from None
        return torn

    def read(self, now: datetime) -> LogRead:
        """What it says, in its order. Raises LogError.

        now: a time that knows its zone.
        """
        older = OlderLog(now)
        entries: list[Entry] = []
        damaged: list[int] = []
        try:
            for number, line in enumerate(self._lines(), start=1):
                try:
                    entry = read(line) if line.startswith("{") else older.read(line)
                except DamagedRowError:
                    damaged += [number] if line.strip() else []
                    continue
                entries += [entry] if entry is not None else []
        except OSError as error:
            raise LogError(f"{self._path} cannot be read: {_reason(error)}") from None
        return LogRead(tuple(entries), tuple(damaged))

    def _lines(self) -> Iterator[str]:
        with open(self._file, "rb", closefd=False) as stream:  # it is open
            stream.seek(0)
            while line := stream.readline(_LONGEST):
                yield line.decode("utf-8", "replace")

    def write(self, row: Row) -> None:
        """Add a row with the time. Raises OSError."""
        line = written(Entry(datetime.now().astimezone(), row))
        # What stands for half a character that no text can hold is escaped, as JSON has it.
        data = ("\n" if self._torn else "").encode() + line.encode("utf-8", "backslashreplace")
        # In one piece: another run may be adding to it too.
        self._torn = True
        if os.write(self._file, data) < len(data):
            raise OSError("not all of it can be written")
        self._torn = False

    def close(self) -> None:
        with suppress(OSError):
            os.close(self._file)


def _reason(error: OSError | ValueError) -> str:
    return str(getattr(error, "strerror", None) or error)
