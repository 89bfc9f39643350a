"""An editor that speaks to `bellcrank editor` over its pipes, and remembers all that it is told."""

from __future__ import annotations

import asyncio
import atexit
import sys
import threading
from collections.abc import AsyncIterator, Callable, Coroutine, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from lsprotocol import types as lsp
from peers import PATIENCE as PATIENCE_WITH_PEERS
from pygls.lsp.client import LanguageClient

from bellcrank.editing.texts import Text

T = TypeVar("T")

PATIENCE = 4 * PATIENCE_WITH_PEERS
"""Seconds for what a proof may come before, on a machine with much else to do."""


@dataclass
class Editor:
    """published: all that was said of texts, in order. logged: what the server complained of."""

    client: LanguageClient
    folder: Path
    texts: dict[str, tuple[int, Text]] = field(default_factory=dict)
    published: list[lsp.PublishDiagnosticsParams] = field(default_factory=list)
    logged: list[str] = field(default_factory=list)
    news: asyncio.Event = field(default_factory=asyncio.Event)

    def uri(self, name: str) -> str:
        return (self.folder / name).as_uri()

    def open(self, name: str, text: str) -> str:
        """Open a text; it is not written to the disk."""
        uri = self.uri(name) if ":" not in name else name
        self.texts[uri] = (1, Text(text))
        self.client.text_document_did_open(
            lsp.DidOpenTextDocumentParams(lsp.TextDocumentItem(uri, "crank", 1, text))
        )
        return uri

    def type(self, uri: str, start: int, end: int, new: str) -> None:
        """Put a text in the place of what stands between two offsets."""
        version, text = self.texts[uri]
        change = lsp.TextDocumentContentChangePartial(text.range(start, end), new)
        self.texts[uri] = (version + 1, text.changed(change))
        self.client.text_document_did_change(
            lsp.DidChangeTextDocumentParams(
                lsp.VersionedTextDocumentIdentifier(version + 1, uri), [change]
            )
        )

    def replace(self, uri: str, old: str, new: str) -> None:
        """Type one word for another that stands once in the text."""
        text = self.texts[uri][1].text
        assert text.count(old) == 1, old
        self.type(uri, text.index(old), text.index(old) + len(old), new)

    def close(self, uri: str) -> None:
        del self.texts[uri]
        self.client.text_document_did_close(
            lsp.DidCloseTextDocumentParams(lsp.TextDocumentIdentifier(uri))
        )

    def text(self, uri: str) -> str:
        return self.texts[uri][1].text

    def at(self, uri: str, before: str, after: str = "") -> lsp.Position:
        """The place between two stretches of text that stand side by side once."""
        text = self.texts[uri][1]
        assert text.text.count(before + after) == 1, before + after
        return text.position(text.text.index(before + after) + len(before))

    def said_of(self, uri: str) -> list[lsp.Diagnostic] | None:
        """What was said last of a text as it is now."""
        version = self.texts[uri][0] if uri in self.texts else None
        for said in reversed(self.published):
            if said.uri == uri:
                return list(said.diagnostics) if said.version == version else None
        return None

    async def diagnostics(
        self,
        uri: str,
        wanted: Callable[[list[lsp.Diagnostic]], bool] = lambda _: True,
        patience: float = PATIENCE,
    ) -> list[lsp.Diagnostic]:
        """What is said of a text as it is now, once something wanted is.

        patience: seconds until a TimeoutError is raised.
        """
        async with asyncio.timeout(patience):
            while True:
                self.news.clear()
                said = self.said_of(uri)
                if said is not None and wanted(said):
                    return said
                await self.news.wait()


@asynccontextmanager
async def editor(
    folder: Path, capabilities: lsp.ClientCapabilities | None = None
) -> AsyncIterator[Editor]:
    """Start a server as an editor does, and say goodbye to it."""
    workspace = [lsp.WorkspaceFolder(folder.as_uri(), folder.name)]
    own = await _started(folder, capabilities, workspace)
    try:
        yield own
        assert not own.logged, own.logged
    finally:
        await _ended(own)


async def _started(
    folder: Path,
    capabilities: lsp.ClientCapabilities | None = None,
    workspace: Sequence[lsp.WorkspaceFolder] = (),
) -> Editor:
    client = LanguageClient("test", "1")
    own = Editor(client, folder)

    @client.feature(lsp.TEXT_DOCUMENT_PUBLISH_DIAGNOSTICS)
    def _published(params: lsp.PublishDiagnosticsParams) -> None:
        own.published.append(params)
        own.news.set()

    @client.feature(lsp.WINDOW_LOG_MESSAGE)
    def _logged(params: lsp.LogMessageParams) -> None:
        own.logged.append(params.message)

    @client.feature(lsp.WINDOW_SHOW_MESSAGE)
    def _shown(params: lsp.ShowMessageParams) -> None:
        own.logged.append(params.message)

    await client.start_io(sys.executable, "-m", "bellcrank", "editor", "--stdio")
    await client.initialize_async(
        lsp.InitializeParams(capabilities or lsp.ClientCapabilities(), workspace_folders=workspace)
    )
    client.initialized(lsp.InitializedParams())
    return own


async def _ended(own: Editor) -> None:
    async with asyncio.timeout(PATIENCE):
        await own.client.shutdown_async(None)
        own.client.exit(None)
        await own.client.stop()


_loop: asyncio.AbstractEventLoop | None = None
_shared: Editor | None = None


def at_an_editor(folder: Path, work: Callable[[Editor], Coroutine[Any, Any, T]]) -> T:
    """Do something at an editor, in which files of a folder are opened. All tests of a process
    have one server, which takes a second to start; after one that fails there is another."""
    global _loop, _shared
    if _loop is None:
        # In a thread of its own: a browser that other tests use may have a loop in this one.
        _loop = asyncio.new_event_loop()
        threading.Thread(target=_loop.run_forever, daemon=True, name="editor").start()
        atexit.register(_end)
    if _shared is None:
        _shared = _run(_loop, _started(folder))
    own, _shared = _shared, None
    own.folder = folder
    own.published.clear()
    try:
        result = _run(_loop, work(own))
        assert not own.logged, own.logged
    except BaseException:
        _run(_loop, _ended(own))
        raise
    _run(_loop, _all_closed(own))
    _shared = own
    return result


async def _all_closed(own: Editor) -> None:
    for uri in list(own.texts):
        own.close(uri)


def _run(loop: asyncio.AbstractEventLoop, work: Coroutine[Any, Any, T]) -> T:
    return asyncio.run_coroutine_threadsafe(work, loop).result()


def _end() -> None:
    if _loop is not None and _shared is not None:
        _run(_loop, _ended(_shared))
