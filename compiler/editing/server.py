"""The language server: which message of the editor leads where."""

from __future__ import annotations

import logging
from collections.abc import Generator, Iterable
from functools import partial
from pathlib import Path
from typing import Any, cast

from lsprotocol import types as lsp
from pygls.lsp.server import LanguageServer
from pygls.protocol import LanguageServerProtocol, lsp_method
from pygls.uris import to_fs_path

from bellcrank.diagnostics import Span
from bellcrank.editing import beside_the_text
from bellcrank.editing.analysis import Analysis, Place
from bellcrank.editing.beside_the_text import BesideTheText
from bellcrank.editing.busy import Busy
from bellcrank.editing.desk import Desk, GoneError
from bellcrank.editing.features import register
from bellcrank.editing.proof_messages import Mending, Verdict
from bellcrank.editing.prover import Prover
from bellcrank.editing.texts import Units
from bellcrank.editing.verdicts import Verdicts
from bellcrank.version import __version__

_log = logging.getLogger(__name__)


class _Protocol(LanguageServerProtocol):
    """Leaves the texts to the desk, which ends lines where the protocol ends them and no
    others, and so has all columns right."""

    @lsp_method(lsp.TEXT_DOCUMENT_DID_OPEN)
    def lsp_text_document__did_open(
        self, params: lsp.DidOpenTextDocumentParams
    ) -> Generator[Any, Any, None]:
        yield self.fm.features[lsp.TEXT_DOCUMENT_DID_OPEN], (params,), None

    @lsp_method(lsp.TEXT_DOCUMENT_DID_CHANGE)
    def lsp_text_document__did_change(
        self, params: lsp.DidChangeTextDocumentParams
    ) -> Generator[Any, Any, None]:
        yield self.fm.features[lsp.TEXT_DOCUMENT_DID_CHANGE], (params,), None

    @lsp_method(lsp.TEXT_DOCUMENT_DID_CLOSE)
    def lsp_text_document__did_close(
        self, params: lsp.DidCloseTextDocumentParams
    ) -> Generator[Any, Any, None]:
        yield self.fm.features[lsp.TEXT_DOCUMENT_DID_CLOSE], (params,), None


class EditorServer(LanguageServer):
    """Speaks to one editor, over standard input and output."""

    def __init__(self) -> None:
        super().__init__("bellcrank", __version__, protocol_cls=_Protocol, max_workers=2)
        self.verdicts = Verdicts()
        busy = Busy(self, "proving")
        self.prover = Prover(self._proved, self.complain, busy.begin, busy.end)
        self.desk = Desk(
            self.text_document_publish_diagnostics,
            settled=self._settled,
            touched=self._touched,
            further=self._further,
            complain=self.complain,
        )
        self.shown = BesideTheText(self, self.desk, self.complain)
        self.said_goodbye = False
        _register(self)
        register(self, self.desk, self.verdicts, self.shown.at_cursor)
        beside_the_text.register(self, self.shown)

    def _settled(self, analysis: Analysis) -> None:
        texts = {place: document.text.text for place, document in self.desk.documents.items()}
        self.prover.want(analysis, texts)
        self.shown.beside.settled(analysis)

    def _touched(self, root: Place) -> None:
        self.verdicts.forget(root)
        self.prover.drop(root)

    def _proved(self, analysis: Analysis, said: Verdict | Mending) -> None:
        if self.verdicts.take(analysis, said) and isinstance(said, Verdict):
            self.desk.tell_of(analysis)

    def _further(self, analysis: Analysis) -> Iterable[tuple[Span, lsp.Diagnostic]]:
        return self.verdicts.diagnostics(analysis, partial(self.desk.location, analysis))

    def stop(self) -> None:
        """Give up all that is being found out."""
        self.desk.stop()
        self.prover.stop()
        self.shown.stop()

    def complain(self, error: BaseException) -> None:
        """Tell the people at the editor of a fault of this program."""
        _log.error("fault", exc_info=error)
        said = f"bellcrank: {type(error).__name__}: {error}; this is a fault of bellcrank"
        self.window_log_message(lsp.LogMessageParams(lsp.MessageType.Error, said))


def _register(server: EditorServer) -> None:
    desk = server.desk

    @server.feature(lsp.INITIALIZE)
    def initialize(params: lsp.InitializeParams) -> None:
        folders = [folder.uri for folder in params.workspace_folders or ()]
        if not folders and params.root_uri:
            folders = [params.root_uri]
        desk.folders = _paths(folders)

    @server.feature(lsp.WORKSPACE_DID_CHANGE_WORKSPACE_FOLDERS)
    def folders_changed(params: lsp.DidChangeWorkspaceFoldersParams) -> None:
        gone, come = (_paths(f.uri for f in each) for each in
                      (params.event.removed, params.event.added))  # fmt: skip
        desk.folders = tuple(f for f in desk.folders if f not in gone) + come
        desk.look_again()

    @server.feature(lsp.INITIALIZED)
    def initialized(_: lsp.InitializedParams) -> None:
        desk.units = cast(Units, server.server_capabilities.position_encoding or "utf-16")
        _watch_files(server)

    @server.feature(lsp.SHUTDOWN)
    def shutdown(_: None) -> None:
        server.said_goodbye = True
        server.stop()

    @server.feature(lsp.TEXT_DOCUMENT_DID_OPEN)
    def did_open(params: lsp.DidOpenTextDocumentParams) -> None:
        document = params.text_document
        desk.open(document.uri, document.version, document.text)

    @server.feature(lsp.TEXT_DOCUMENT_DID_CHANGE)
    def did_change(params: lsp.DidChangeTextDocumentParams) -> None:
        document = params.text_document
        try:
            desk.change(document.uri, document.version, params.content_changes)
        except GoneError:
            _log.warning("a change of %s, which is not open", document.uri)

    @server.feature(lsp.TEXT_DOCUMENT_DID_CLOSE)
    def did_close(params: lsp.DidCloseTextDocumentParams) -> None:
        desk.close(params.text_document.uri)

    @server.feature(lsp.WORKSPACE_DID_CHANGE_WATCHED_FILES)
    def files_changed(_: lsp.DidChangeWatchedFilesParams) -> None:
        desk.look_again()

    @server.feature(lsp.WORKSPACE_DID_CHANGE_CONFIGURATION)
    def configured(_: lsp.DidChangeConfigurationParams) -> None:
        """Nothing is configured; editors tell of it all the same."""


def _paths(uris: Iterable[str]) -> tuple[Path, ...]:
    return tuple(Path(path).resolve() for uri in uris if (path := to_fs_path(uri)))


def _watch_files(server: EditorServer) -> None:
    """Ask the editor, if it can, to tell of layout files that change on the disk."""
    workspace = server.client_capabilities.workspace
    watching = workspace and workspace.did_change_watched_files
    if not (watching and watching.dynamic_registration):
        return
    files = lsp.DidChangeWatchedFilesRegistrationOptions([lsp.FileSystemWatcher("**/*.crank")])
    method = lsp.WORKSPACE_DID_CHANGE_WATCHED_FILES
    server.client_register_capability(
        lsp.RegistrationParams([lsp.Registration("layout files", method, files)])
    )


def serve() -> bool:
    """Serve the editor that has started this process, until it hangs up; returns whether it
    said so before."""
    server = EditorServer()
    try:
        server.start_io()
    finally:
        server.stop()
    return server.said_goodbye
