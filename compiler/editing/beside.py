"""The picture beside the text: an address on this machine at which a browser, or a pane of the
editor, shows the layout as it is being written.

The page asks for news, and is answered when there are some. What is under the cursor is marked;
what is pointed at in the picture is told to whoever leads the editor there. While the text has
errors the last picture stays, and the page says of which text it is.
"""

from __future__ import annotations

import json
import secrets
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

from bellcrank.diagnostics import has_errors
from bellcrank.editing.analysis import Analysis, Place
from bellcrank.page.local_pages import Content, LocalServer, frame, told
from bellcrank.picture import draw

OLDER = "The text has errors: this picture is of the text before them."

NOTHING_YET = "The text has errors: there is no picture of it yet."

NO_TRACK = "There is no track to draw yet."

WAITING = 20.0
"""Seconds for which a page is kept waiting for news; then it asks again."""

Pointed = Callable[[Place, str], None]
"""Is told of the name of something that was pointed at in the picture of a layout."""


@dataclass(slots=True)
class _Sheet:
    """What the page of one layout shows.

    stamp: grows with every change. drawn: the stamp of the picture. marked: names of what is under
    the cursor.
    """

    key: str = field(default_factory=lambda: secrets.token_urlsafe(16))
    stamp: int = 1
    drawn: int = 0
    svg: str = ""
    said: str = ""
    marked: tuple[str, ...] = ()


class Beside:
    """The pictures that somebody looks at.

    pointed: called from a thread of its own. complain: is told of what failed and should not.
    """

    def __init__(self, pointed: Pointed, complain: Callable[[BaseException], None]) -> None:
        self._pointed = pointed
        self._complain = complain
        self._sheets: dict[Place, _Sheet] = {}
        self._news = threading.Condition()
        self._wanted: dict[Place, Analysis] = {}
        self._pool = ThreadPoolExecutor(1, "draw")
        self._server: LocalServer | None = None
        self._stopped = False

    def address(self, analysis: Analysis) -> str:
        """Where the picture of a layout is shown from now on."""
        if self._server is None:
            self._server = LocalServer(self._asked)
        with self._news:
            sheet = self._sheets.setdefault(analysis.root, _Sheet())
        self.settled(analysis)
        return f"http://{self._server.address}/{sheet.key}/"

    def settled(self, analysis: Analysis) -> None:
        """A layout was read anew: its picture is drawn, if somebody looks at it."""
        if analysis.root in self._sheets and not self._stopped:
            first = not self._wanted
            self._wanted[analysis.root] = analysis
            if first:
                self._pool.submit(self._draw)

    def mark(self, root: Place, names: tuple[str, ...]) -> None:
        """Something of a layout is under the cursor."""
        with self._news:
            sheet = self._sheets.get(root)
            if sheet is not None and sheet.marked != names:
                sheet.marked = names
                self._changed(sheet)

    def stop(self) -> None:
        self._stopped = True
        self._pool.shutdown(wait=False, cancel_futures=True)
        with self._news:
            self._news.notify_all()
        if self._server is not None:
            self._server.stop()
            self._server = None

    # ------------------------------------------------------------------- drawing

    def _draw(self) -> None:
        while self._wanted and not self._stopped:
            root = next(iter(self._wanted))
            analysis = self._wanted.pop(root)
            try:
                svg, said = _drawn(analysis)
            except Exception as error:  # a fault of the compiler: the editor goes on
                self._complain(error)
                continue
            with self._news:
                sheet = self._sheets[root]
                if svg is not None:
                    sheet.svg, sheet.said, sheet.drawn = svg, said, sheet.stamp + 1
                else:
                    sheet.said = OLDER if sheet.svg else said
                self._changed(sheet)

    def _changed(self, sheet: _Sheet) -> None:
        sheet.stamp += 1
        self._news.notify_all()

    # ------------------------------------------------------------------ answering

    def _asked(self, path: str, said: bytes | None) -> Content | None:
        _, key, what = (*path.partition("?")[0].split("/"), "", "")[:3]
        # Compared as a secret is, so that how long it takes tells nothing.
        here = [(r, s) for r, s in self._sheets.items() if secrets.compare_digest(
            s.key.encode(), key.encode()
        )]  # fmt: skip
        if not here:
            return None
        root, sheet = here[0]
        if what == "" and said is None:
            return frame("beside.html")
        if what == "news" and said is not None:
            return told(self._news_after(sheet, _number(said)))
        if what == "go" and said is not None:
            name = _text(said)
            if name is not None:
                self._pointed(root, name)
            return told({})
        return None

    def _news_after(self, sheet: _Sheet, seen: int) -> dict[str, object]:
        with self._news:
            self._news.wait_for(lambda: sheet.stamp > seen or self._stopped, WAITING)
            svg = sheet.svg if sheet.drawn > seen else None
            return {
                "stamp": sheet.stamp,
                "said": sheet.said,
                "marked": sheet.marked,
                "svg": svg,
            }


def _drawn(analysis: Analysis) -> tuple[str | None, str]:
    """The picture of a layout, None if there is none, and what is said beside it."""
    draft = analysis.draft
    if has_errors(draft.diagnostics):
        return None, NOTHING_YET
    if not draft.layout.elements:
        return None, NO_TRACK
    return draw(draft.layout), ""


def _number(said: bytes) -> int:
    found = _json(said)
    return found if isinstance(found, int) else 0


def _text(said: bytes) -> str | None:
    found = _json(said)
    return found if isinstance(found, str) else None


def _json(said: bytes) -> object:
    try:
        found: object = json.loads(said)
    except ValueError:
        return None
    return found
