"""A page that reloads by itself while its layout is being written.

A page that is opened from a file cannot ask whether the file has changed. So it is shown by this
process, to browsers on this machine only, in a frame that asks twice a second and says when what
it shows is of an older text, because the new one has errors or is not proved. The page itself is
the file as it was built, and loads nothing from anywhere.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from importlib import resources
from pathlib import Path


@dataclass(slots=True)
class Shown:
    """What browsers are told.

    page: the file. stamp: how often it was written. said: what is to be said beside it, if
    anything is.
    """

    page: Path
    stamp: int = 0
    said: str = ""
    address: str = field(default="", init=False)


class _Asked(BaseHTTPRequestHandler):
    def __init__(self, shown: Shown, *arguments: object) -> None:
        self.shown = shown
        super().__init__(*arguments)  # type: ignore[arg-type]

    def do_GET(self) -> None:
        shown = self.shown
        # A page of somewhere else, whose name was made to lead here, must not read what is here.
        if self.headers.get("Host") != shown.address:
            self.send_error(HTTPStatus.FORBIDDEN)
        elif self.path == "/":
            frame = resources.files("bellcrank.targets").joinpath("page", "watched.html")
            self._answer("text/html; charset=utf-8", frame.read_bytes())
        elif self.path == "/stamp":
            told = {"stamp": shown.stamp, "said": shown.said}
            self._answer("application/json", json.dumps(told).encode())
        elif self.path == "/page" and shown.page.is_file():
            self._answer("text/html; charset=utf-8", shown.page.read_bytes())
        else:
            self.send_error(HTTPStatus.NOT_FOUND)

    def _answer(self, kind: str, content: bytes) -> None:
        self.send_response(HTTPStatus.OK)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(content)))
        self.send_header("Cache-Control", "no-store")
        self.send_header("X-Content-Type-Options", "nosniff")
        self.end_headers()
        self.wfile.write(content)

    def log_message(self, *_: object) -> None:
        """Nobody wants to read who asked for what."""


@contextmanager
def shown_at_an_address(shown: Shown) -> Iterator[None]:
    """Show a page, at `shown.address`, for as long as this lasts."""
    with ThreadingHTTPServer(("127.0.0.1", 0), partial(_Asked, shown)) as server:
        server.daemon_threads = True
        shown.address = f"127.0.0.1:{server.server_port}"
        threading.Thread(target=server.serve_forever, args=(0.1,), daemon=True).start()
        try:
            yield
        finally:
            server.shutdown()
