"""Tells the people at the editor that a proof is under way, where the editor shows such things
(Language Server Protocol 3.17, "Work Done Progress")."""

from __future__ import annotations

import asyncio
import itertools
from contextlib import suppress
from dataclasses import dataclass, field

from lsprotocol import types as lsp
from pygls.exceptions import JsonRpcException
from pygls.lsp.server import LanguageServer

SOON = 0.5
"""Seconds after which a proof is worth mentioning."""


@dataclass(slots=True)
class Busy:
    """One thing at a time that is under way."""

    server: LanguageServer
    title: str
    _numbers: itertools.count[int] = field(default_factory=itertools.count)
    _telling: asyncio.Task[None] | None = None

    def begin(self) -> None:
        """Something is under way; it is told of if it takes long."""
        window = self.server.client_capabilities.window
        if window is not None and window.work_done_progress:
            self._telling = asyncio.get_running_loop().create_task(self._tell())

    def end(self) -> None:
        """It has ended, or was given up."""
        if self._telling is not None:
            self._telling.cancel()
            self._telling = None

    async def _tell(self) -> None:
        await asyncio.sleep(SOON)
        token = f"bellcrank {next(self._numbers)}"
        progress = self.server.work_done_progress
        with suppress(JsonRpcException):  # an editor may refuse to show it
            await progress.create_async(token)
            progress.begin(token, lsp.WorkDoneProgressBegin(self.title))
            try:
                await asyncio.Event().wait()  # until it has ended
            finally:
                progress.end(token, lsp.WorkDoneProgressEnd())
                progress.tokens.pop(token, None)
