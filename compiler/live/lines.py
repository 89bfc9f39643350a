"""Links by lines of text: a network line and a serial line, commands out and reports in.

A line that is lost is tried again and again, with pauses that grow to a few seconds. When it is
back all its signals are put to stop and all coils that commands switch on are switched off, for
nobody knows what the other side has done meanwhile; then it is asked how everything stands, by the
line that the user states. What was to be sent while it was away is dropped: a command that comes
late is worse than none.
"""

from __future__ import annotations

import asyncio
import contextlib
import importlib
import os
import threading
from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from bellcrank.live.decisions import Doing, Heard
from bellcrank.live.line_words import LineWords
from bellcrank.live.live import Heed, pause_before
from bellcrank.sending.places import Place

_LONGEST = 1000
"""Bytes of a line; what is longer is no report."""

_UNSENT = 100_000
"""Bytes that may wait for a peer that takes nothing in; then it counts as lost."""

_OPENING = 5.0
"""Seconds for a line to open."""


class Wire(Protocol):
    """An open line."""

    async def read(self) -> bytes:
        """Some bytes; none at its end. Raises OSError."""

    def write(self, data: bytes) -> None:
        """Raises OSError if the other side takes nothing in."""

    def close(self) -> None: ...


class LineLink:
    """A link by lines of text.

    texts: the line for each thing to be done; what is not in it is done by hand, or in another way.
    to_stop: what brings it into a safe state when it is opened.
    ask: the line that asks for all reports; empty if there is none.
    """

    def __init__(
        self,
        place: Place,
        texts: Mapping[Doing, str],
        words: LineWords,
        to_stop: Sequence[Doing],
        ask: str = "",
    ) -> None:
        self.name = str(place)
        self.up = False
        self.trouble = "it has not been opened yet"
        self._place = place
        self._texts = texts
        self._words = words
        self._to_stop = tuple(to_stop)
        self._ask = ask
        self._wire: Wire | None = None
        self._told = False  # that it is not there at first; later its loss was

    async def run(self, heed: Heed) -> None:
        tried = 0
        while True:
            try:
                async with asyncio.timeout(_OPENING + self._place.wait / 1000):
                    wire = await opened(self._place)
            except (OSError, TimeoutError) as error:
                self.trouble = f"it cannot be opened: {_reason(error)}"
                if not self._told:
                    self._told = True
                    said = f"{self.name} cannot be opened: {_reason(error)}"
                    heed((Heard("lost", self.name, said, self.name),))
                await asyncio.sleep(pause_before(tried))
                tried += 1
                continue
            tried = 0
            self._wire, self.up, self.trouble, self._told = wire, True, "", True
            try:
                for doing in self._to_stop:
                    self._send(doing)
                if self._ask:
                    wire.write(_line(self._ask))
                heed((Heard("here", self.name, who=self.name),))
                await self._read(wire, heed)
                why = "the other side has closed it"
            except OSError as error:
                why = _reason(error)
            except asyncio.CancelledError:
                # All signals are left at stop.
                with contextlib.suppress(OSError):
                    for doing in self._to_stop:
                        self._send(doing)
                    await asyncio.sleep(0.05)
                raise
            finally:
                self._wire, self.up = None, False
                wire.close()
            self.trouble = f"it is lost: {why}"
            heed((Heard("lost", self.name, f"{self.name} is lost: {why}", self.name),))

    async def _read(self, wire: Wire, heed: Heed) -> None:
        rest = b""
        while data := await wire.read():
            if self._wire is None:
                raise OSError("the other side takes nothing in")
            *lines, rest = (rest + data).split(b"\n")
            if len(rest) > _LONGEST:
                rest = rest[:_LONGEST]
            heard = [
                each for line in lines for each in self._words.read(line.decode("utf-8", "replace"))
            ]
            if heard:
                heed(heard)

    def put_out(self, doing: Doing) -> None:
        if self._wire is not None:
            try:
                self._send(doing)
            except OSError:
                # Its reader ends with it, and says so.
                wire, self._wire = self._wire, None
                wire.close()

    def _send(self, doing: Doing) -> None:
        text = self._texts.get(doing)
        if text is not None and self._wire is not None:
            self._wire.write(_line(text))


def _line(text: str) -> bytes:
    return (text if text.endswith("\n") else text + "\n").encode("utf-8")


def _reason(error: BaseException) -> str:
    number = getattr(error, "errno", None)
    said = os.strerror(number).lower() if number else str(error) or "it does not answer"
    return " ".join(str(said).split())


async def opened(place: Place) -> Wire:
    """Open a line. Raises OSError."""
    if place.kind == "tcp":
        reader, writer = await asyncio.open_connection(place.host, place.port)
        return _Network(reader, writer)
    wire = await asyncio.to_thread(_Serial, place)
    wire.begin()
    await asyncio.sleep(place.wait / 1000)
    return wire


class _Network:
    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader, self._writer = reader, writer

    async def read(self) -> bytes:
        return await self._reader.read(1 << 16)

    def write(self, data: bytes) -> None:
        if self._writer.transport.get_write_buffer_size() > _UNSENT:
            self._writer.transport.abort()
            raise OSError("the other side takes nothing in")
        self._writer.write(data)

    def close(self) -> None:
        with contextlib.suppress(OSError):
            self._writer.close()


class _Serial:
    """A serial line, read and written in threads: not every system lets it be waited for
    otherwise."""

    def __init__(self, place: Place) -> None:
        serial: Any = importlib.import_module("serial")

        try:
            self._port: Any = serial.Serial(
                place.device, place.baud, timeout=0.2, write_timeout=2.0, exclusive=True
            )
        except OSError:
            raise
        except Exception as error:  # of the library, or of the system under it
            raise OSError(_reason(error)) from None
        self._closed = threading.Event()

    def begin(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._came: asyncio.Queue[bytes | OSError] = asyncio.Queue()
        self._unsent: list[bytes] = []
        self._more = threading.Condition()
        threading.Thread(target=self._read_on, daemon=True).start()
        threading.Thread(target=self._write_on, daemon=True).start()

    async def read(self) -> bytes:
        came = await self._came.get()
        if isinstance(came, OSError):
            raise came
        return came

    def write(self, data: bytes) -> None:
        with self._more:
            if sum(map(len, self._unsent)) > _UNSENT:
                raise OSError("the other side takes nothing in")
            self._unsent.append(data)
            self._more.notify()

    def close(self) -> None:
        self._closed.set()
        with self._more:
            self._more.notify()

    def _say(self, came: bytes | OSError) -> None:
        with contextlib.suppress(RuntimeError):  # the loop is over
            self._loop.call_soon_threadsafe(self._came.put_nowait, came)

    def _read_on(self) -> None:
        try:
            while not self._closed.is_set():
                data = self._port.read(1)
                if data:
                    self._say(data + self._port.read(self._port.in_waiting))
        except Exception as error:  # of a device pulled out the library lets all through
            self._say(OSError(_reason(error)))
        finally:
            with contextlib.suppress(Exception):
                self._port.close()

    def _write_on(self) -> None:
        while True:
            with self._more:
                while not self._unsent and not self._closed.is_set():
                    self._more.wait()
                if not self._unsent:
                    return
                data = b"".join(self._unsent)
                self._unsent.clear()
            try:
                self._port.write(data)
            except Exception as error:
                self._say(OSError(_reason(error)))
                return
