"""The page of a layout beside its text: built of the text as it was saved last, and anew on every
save, by a process of its own, so that nothing waits for it."""

from __future__ import annotations

import asyncio
import sys
from asyncio.subprocess import DEVNULL, Process
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

from bellcrank.file_sets.stamps import stamp_of
from bellcrank.page.local_pages import LocalServer, Shown

BUILDING = "The page is being built."

OLDER = "This page is of an older text: of the one that was saved last none could be built."

NONE_YET = "No page could be built: the text has errors, or it was not saved yet."


@dataclass(slots=True)
class BuiltPage:
    """The page of one file, for as long as the editor runs. All methods are called from the event
    loop."""

    file: Path
    _folder: TemporaryDirectory[str] = field(default_factory=TemporaryDirectory)
    _shown: Shown = field(init=False)
    _server: LocalServer = field(init=False)
    _building: Process | None = None
    _task: asyncio.Task[None] | None = None

    def __post_init__(self) -> None:
        self._shown = Shown(Path(self._folder.name) / "page.html", said=BUILDING)
        self._server = LocalServer(self._shown.asked)
        self._shown.address = self._server.address
        self.saved()

    @property
    def address(self) -> str:
        return f"http://{self._server.address}/"

    def saved(self) -> None:
        """The text was saved: the page is built anew, and what was being built is given up."""
        self._give_up()
        self._task = asyncio.get_running_loop().create_task(self._build())

    def stop(self) -> None:
        self._give_up()
        self._server.stop()
        self._folder.cleanup()

    def _give_up(self) -> None:
        if self._task is not None:
            self._task.cancel()
        if self._building is not None and self._building.returncode is None:
            with suppress(ProcessLookupError):
                self._building.kill()

    async def _build(self) -> None:
        self._shown.said = BUILDING
        before = stamp_of(self._shown.page)
        self._building = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "bellcrank", "build", str(self.file), "--target", "page",
            "--allow-unproved", "--out", self._folder.name,
            stdin=DEVNULL, stdout=DEVNULL, stderr=DEVNULL,
        )  # fmt: skip
        await self._building.wait()
        self._shown.was_built(before, NONE_YET if before is None else OLDER)
