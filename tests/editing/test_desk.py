"""The desk: what is under way is given up for what is wanted now, and a fault is survived."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Mapping
from pathlib import Path

import pytest
from event_loops import in_a_loop
from language_client import PATIENCE
from lsprotocol import types as lsp

from bellcrank.editing import desk as desk_module
from bellcrank.editing.analysis import Analysis, Place, Superseding, analyse
from bellcrank.editing.desk import Desk

SOUND = 'layout "X" on three rails\nrun edge E - A - >W1 - B - edge F\n'


def change(text: str) -> lsp.TextDocumentContentChangeWholeDocument:
    return lsp.TextDocumentContentChangeWholeDocument(text)


def test_what_is_under_way_is_given_up_and_only_the_last_text_is_told_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    published: list[lsp.PublishDiagnosticsParams] = []
    begun: list[str] = []
    given_up: list[str] = []
    started = threading.Event()

    def slow(root: Place, texts: Mapping[Place, str], progress: Superseding) -> Analysis:
        begun.append(texts[root])
        started.set()
        if len(begun) == 1:  # works until nobody wants it
            while True:
                try:
                    progress("working")
                except Exception:
                    given_up.append(texts[root])
                    raise
        return analyse(root, texts, progress)

    monkeypatch.setattr(desk_module, "analyse", slow)
    uri = (tmp_path / "x.crank").as_uri()

    async def work() -> None:
        desk = Desk(published.append)
        desk.open(uri, 1, "run")
        while not started.is_set():
            await asyncio.sleep(0.01)
        for version in range(2, 50):
            desk.change(uri, version, [change(f"run {version}")])
        desk.change(uri, 50, [change(SOUND)])
        async with asyncio.timeout(PATIENCE):
            await desk.current((tmp_path / "x.crank").resolve())
        desk.stop()

    in_a_loop(work())
    assert begun == ["run", SOUND]
    assert given_up == ["run"]
    assert [(p.version, list(p.diagnostics)) for p in published] == [(50, [])]


def test_a_fault_of_the_compiler_is_told_and_the_next_text_is_compiled(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    published: list[lsp.PublishDiagnosticsParams] = []
    faults: list[str] = []

    def faulty(root: Place, texts: Mapping[Place, str], progress: Superseding) -> Analysis:
        if "fault" in texts[root]:
            raise ZeroDivisionError("as it happens")
        return analyse(root, texts, progress)

    monkeypatch.setattr(desk_module, "analyse", faulty)
    uri = (tmp_path / "x.crank").as_uri()

    async def work() -> None:
        desk = Desk(published.append, complain=lambda error: faults.append(repr(error)))
        desk.open(uri, 1, "# fault")
        async with asyncio.timeout(PATIENCE):
            while not faults:
                await asyncio.sleep(0.01)
            desk.change(uri, 2, [change(SOUND)])
            await desk.current((tmp_path / "x.crank").resolve())
        desk.stop()

    in_a_loop(work())
    assert faults == ["ZeroDivisionError('as it happens')"]
    assert [p.version for p in published] == [2]
