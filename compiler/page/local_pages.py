"""Pages that this process shows to browsers on this machine only.

A page that is opened from a file cannot ask whether the file has changed. So one that follows a
text is shown at an address of this machine, in a frame that asks for news. Only requests that name
the address as a browser does that was led here are answered: a page of somewhere else, whose name
was made to lead here, must not read what is here.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from functools import partial
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib import resources
from pathlib import Path
from typing import NamedTuple

from bellcrank.file_sets.stamps import Stamp, stamp_of

MOST_SAID = 4_096
"""Bytes that a page may say at once."""


class Content(NamedTuple):
    """What is answered: a kind as HTTP names it (RFC 9110, section 8.3), and the bytes."""

    kind: str
    body: bytes


Asked = Callable[[str, bytes | None], Content | None]
"""What is answered to a path, and to what was said with it, if anything was; None: nothing is
there.
It is called from a thread of its own."""


def html(body: bytes) -> Content:
    return Content("text/html; charset=utf-8", body)


def told(data: object) -> Content:
    return Content("application/json", json.dumps(data).encode())


def frame(name: str) -> Content:
    """A page that comes with the compiler."""
    return html(resources.files("bellcrank.targets").joinpath("page", name).read_bytes())


class LocalServer:
    """Answers browsers on this machine until it is stopped. address: host and port."""

    def __init__(self, asked: Asked) -> None:
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_Request, self, asked))
        self._server.daemon_threads = True
        self.address = f"127.0.0.1:{self._server.server_port}"
        serve = partial(self._server.serve_forever, 0.1)
        threading.Thread(target=serve, daemon=True, name="local pages").start()

    def stop(self) -> None:
        self._server.shutdown()
        self._server.server_close()


class _Request(BaseHTTPRequestHandler):
    def __init__(self, server: LocalServer, asked: Asked, *arguments: object) -> None:
        self.shown, self.asked = server, asked
        super().__init__(*arguments)  # type: ignore[arg-type]

    def do_GET(self) -> None:
        self._answer(None)

    def do_POST(self) -> None:
        length = self.headers.get("Content-Length", "")
        if not length.isdecimal() or int(length) > MOST_SAID:
            self.send_error(HTTPStatus.BAD_REQUEST)
        elif self.headers.get("Origin", f"http://{self.shown.address}") != (
            f"http://{self.shown.address}"
        ):
            self.send_error(HTTPStatus.FORBIDDEN)
        else:
            self._answer(self.rfile.read(int(length)))

    def _answer(self, said: bytes | None) -> None:
        if self.headers.get("Host") != self.shown.address:
            self.send_error(HTTPStatus.FORBIDDEN)
            return
        content = self.asked(self.path, said)
        if content is None:
            self.send_error(HTTPStatus.NOT_FOUND)
            return
        self.send_response(HTTPStatus.OK)
        self.send_header("Content-Type", content.kind)
        self.send_header("Content-Length", str(len(content.body)))
        self.send_header("Cache-Control", "no-store")
        self.send_header("X-Content-Type-Options", "nosniff")
        with suppress(ConnectionError):  # the browser may have gone meanwhile
            self.end_headers()
            self.wfile.write(content.body)

    def log_message(self, *_: object) -> None:
        """Nobody wants to read who asked for what."""


@dataclass(slots=True)
class Shown:
    """A built page in a frame that asks twice a second whether it was built again.

    page: the file. stamp: how often it was written. said: what is to be said beside it, if
    anything is, as that what it shows is of an older text.
    """

    page: Path
    stamp: int = 0
    said: str = ""
    address: str = field(default="", init=False)

    def was_built(self, before: Stamp, otherwise: str) -> None:
        """It was to be built anew. before: how its file was then. otherwise: what is to be said if
        it still is so."""
        if stamp_of(self.page) != before:
            self.stamp, self.said = self.stamp + 1, ""
        else:
            self.said = otherwise

    def asked(self, path: str, said: bytes | None) -> Content | None:
        """What browsers are told."""
        if said is not None:
            return None
        if path == "/":
            return frame("watched.html")
        if path == "/stamp":
            return told({"stamp": self.stamp, "said": self.said})
        if path == "/page" and self.page.is_file():
            return html(self.page.read_bytes())
        return None


@contextmanager
def shown_at_an_address(shown: Shown) -> Iterator[None]:
    """Show a page, at `shown.address`, for as long as this lasts."""
    server = LocalServer(shown.asked)
    shown.address = server.address
    try:
        yield
    finally:
        server.stop()
