"""The commands by which an editor shows the picture and the page of a layout beside its text.

`bellcrank.picture` and `bellcrank.page` take the address of a text and answer where the page is
shown: an address of this machine. Unless they are told not to, they ask the editor to open it
(Language Server Protocol 3.17, `window/showDocument`), so that they serve editors without a pane of
their own. Which word the cursor is on the editor tells by asking where else it stands
(`textDocument/documentHighlight`): there is no message for the cursor itself.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path

from lsprotocol import types as lsp
from pygls.exceptions import JsonRpcInvalidParams
from pygls.lsp.server import LanguageServer

from bellcrank.editing.actions import PAGE, PICTURE
from bellcrank.editing.analysis import Analysis, Place
from bellcrank.editing.beside import Beside
from bellcrank.editing.built_page import BuiltPage
from bellcrank.editing.desk import Desk, GoneError, place_of
from bellcrank.editing.names import Occurrence, Thing


class BesideTheText:
    """What is shown beside the texts of one editor."""

    def __init__(
        self, server: LanguageServer, desk: Desk, complain: Callable[[BaseException], None]
    ) -> None:
        self.server = server
        self.desk = desk
        self.beside = Beside(self._pointed, complain)
        self._loop: asyncio.AbstractEventLoop | None = None
        self.pages: dict[Place, BuiltPage] = {}

    def at_cursor(self, analysis: Analysis, word: Occurrence | None) -> None:
        """The cursor is on a word, or on none."""
        named = word is not None and isinstance(word.meaning, Thing)
        self.beside.mark(analysis.root, (word.text,) if word is not None and named else ())

    async def picture(self, uri: str) -> str:
        """Where the picture of the layout of a text is shown. Raises GoneError."""
        self._loop = asyncio.get_running_loop()
        _, analysis = await self.desk.current(place_of(uri))
        return self.beside.address(analysis)

    def _pointed(self, root: Place, name: str) -> None:
        """Called from a thread that answers a browser."""
        assert self._loop is not None
        self._loop.call_soon_threadsafe(self.go, root, name)

    async def page(self, uri: str) -> str:
        """Where its page is. Raises GoneError, and JsonRpcInvalidParams if it is in no file."""
        _, analysis = await self.desk.current(place_of(uri))
        root = analysis.root
        if not isinstance(root, Path):
            raise JsonRpcInvalidParams("save the layout first: its page is built of a file")
        if root not in self.pages:
            self.pages[root] = BuiltPage(root)
        return self.pages[root].address

    def saved(self, uri: str) -> None:
        """A text was saved."""
        analysis = self.desk.known(place_of(uri))
        if analysis is not None and analysis.root in self.pages:
            self.pages[analysis.root].saved()

    def go(self, root: Place, name: str) -> None:
        """Lead the editor to where something is declared."""
        analysis = self.desk.analyses.get(root)
        declared = analysis.names.declared(Thing(name)) if analysis is not None else ()
        if analysis is not None and declared and self.shows_documents:
            at = self.desk.location(analysis, declared[0].span)
            self.server.window_show_document(
                lsp.ShowDocumentParams(at.uri, take_focus=True, selection=at.range)
            )

    def open(self, address: str) -> None:
        """Have an address opened, or at least told."""
        if self.shows_documents:
            self.server.window_show_document(lsp.ShowDocumentParams(address, external=True))
        else:
            told = lsp.ShowMessageParams(lsp.MessageType.Info, f"it is shown at {address}")
            self.server.window_show_message(told)

    @property
    def shows_documents(self) -> bool:
        window = self.server.client_capabilities.window
        return bool(window and window.show_document and window.show_document.support)

    def stop(self) -> None:
        self.beside.stop()
        for page in self.pages.values():
            page.stop()
        self.pages.clear()


def register(server: LanguageServer, shown: BesideTheText) -> None:
    """Let a server answer both commands."""

    # A second argument, `false`, is for an editor that opens the address itself.
    async def picture(uri: str, *opened: object) -> dict[str, str]:
        return await answered(shown.picture(uri), False not in opened)

    async def page(uri: str, *opened: object) -> dict[str, str]:
        return await answered(shown.page(uri), False not in opened)

    async def answered(finding: Awaitable[str], opened: bool) -> dict[str, str]:
        try:
            address = await finding
        except GoneError:
            raise JsonRpcInvalidParams("no layout that can be read is open there") from None
        if opened:
            shown.open(address)
        return {"address": address}

    server.command(PICTURE)(picture)
    server.command(PAGE)(page)

    @server.feature(lsp.TEXT_DOCUMENT_DID_SAVE)
    def saved(params: lsp.DidSaveTextDocumentParams) -> None:
        shown.saved(params.text_document.uri)
