"""The picture and the page beside a text, at a real client, and in a browser."""

from __future__ import annotations

import asyncio
import json
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

import pytest
from event_loops import in_a_loop
from language_client import PATIENCE, Editor, at_an_editor, editor
from lsprotocol import types as lsp

YARD = """layout "Reedham Yard" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
"""

SHOWING = lsp.ClientCapabilities(
    window=lsp.WindowClientCapabilities(show_document=lsp.ShowDocumentClientCapabilities(True))
)


async def asked(own: Editor, command: str, *arguments: object) -> str:
    """The address that a command answers."""
    params = lsp.ExecuteCommandParams(command, list(arguments))
    answer = await own.client.workspace_execute_command_async(params)
    return str(answer["address"] if isinstance(answer, dict) else answer.address)


async def said(address: str, data: object | None = None, **headers: str) -> str:
    """What is answered at an address, to what is said to it."""
    body = None if data is None else json.dumps(data).encode()

    def fetch() -> str:
        request = urllib.request.Request(address, body, headers)
        with urllib.request.urlopen(request, timeout=PATIENCE) as answer:
            return str(answer.read().decode())

    return await asyncio.to_thread(fetch)


async def news(address: str, seen: int = 0) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(await said(address + "news", seen))
    return told


async def until(address: str, wanted: Any) -> dict[str, Any]:
    """The news that are waited for, with all that was told before."""
    told: dict[str, Any] = {"stamp": 0}
    async with asyncio.timeout(PATIENCE):
        while True:
            now = await news(address, told["stamp"])
            told |= {name: value for name, value in now.items() if value is not None}
            if wanted(told):
                return told


def test_the_picture_is_of_the_text_as_it_is_and_stays_while_that_has_errors(
    tmp_path: Path,
) -> None:
    async def work(own: Editor) -> None:
        uri = own.open("yard.crank", YARD)
        at = await asked(own, "bellcrank.picture", uri, False)
        assert at.startswith("http://127.0.0.1:")
        assert at == await asked(own, "bellcrank.picture", uri, False)
        told = await until(at, lambda told: "svg" in told and told["svg"])
        assert 'data-element="B"' in told["svg"] and told["said"] == ""
        own.replace(uri, "- B - stop", "- BAY - stop")
        await until(at, lambda told: 'data-element="BAY"' in told.get("svg", ""))
        own.replace(uri, "- BAY - stop", "BAY - stop")
        told = await until(at, lambda told: told.get("said"))
        assert "of the text before" in told["said"]
        assert 'data-element="BAY"' in told["svg"]
        own.replace(uri, "BAY - stop", "- B2 - stop")
        told = await until(at, lambda told: 'data-element="B2"' in told.get("svg", ""))
        assert told["said"] == ""

    at_an_editor(tmp_path, work)


def test_what_the_cursor_is_on_is_marked(tmp_path: Path) -> None:
    async def work(own: Editor) -> None:
        uri = own.open("yard.crank", YARD)
        at = await asked(own, "bellcrank.picture", uri, False)

        async def cursor_at(position: lsp.Position) -> None:
            await own.client.text_document_document_highlight_async(
                lsp.DocumentHighlightParams(lsp.TextDocumentIdentifier(uri), position)
            )

        await cursor_at(own.at(uri, "P.straight - <", "S - B"))
        await until(at, lambda told: told.get("marked") == ["S"])
        await cursor_at(own.at(uri, "points ", "P\n"))
        await until(at, lambda told: told.get("marked") == ["P"])
        await cursor_at(lsp.Position(0, 1))
        await until(at, lambda told: told.get("marked") == [])

    at_an_editor(tmp_path, work)


def test_what_is_pointed_at_in_the_picture_is_shown_in_the_text(tmp_path: Path) -> None:
    async def work() -> None:
        async with editor(tmp_path, SHOWING) as own:
            shown: asyncio.Queue[lsp.ShowDocumentParams] = asyncio.Queue()

            @own.client.feature(lsp.WINDOW_SHOW_DOCUMENT)
            def _shown(params: lsp.ShowDocumentParams) -> lsp.ShowDocumentResult:
                shown.put_nowait(params)
                return lsp.ShowDocumentResult(True)

            uri = own.open("yard.crank", YARD)
            at = await asked(own, "bellcrank.picture", uri)
            async with asyncio.timeout(PATIENCE):
                opened = await shown.get()
                assert (opened.uri, opened.external) == (at, True)
                await said(at + "go", "D")
                led = await shown.get()
            assert led.uri == uri and led.take_focus
            assert led.selection == lsp.Range(lsp.Position(4, 19), lsp.Position(4, 20))

    in_a_loop(work())


def test_the_layout_line_offers_both(tmp_path: Path) -> None:
    async def work(own: Editor) -> None:
        uri = own.open("yard.crank", YARD)

        async def offered(line: int) -> list[str]:
            at = lsp.Range(lsp.Position(line, 2), lsp.Position(line, 2))
            params = lsp.CodeActionParams(
                lsp.TextDocumentIdentifier(uri), at, lsp.CodeActionContext([])
            )
            found = await own.client.text_document_code_action_async(params)
            return [each.command for each in found or [] if isinstance(each, lsp.Command)]

        assert await offered(0) == ["bellcrank.picture", "bellcrank.page"]
        assert await offered(1) == []

    at_an_editor(tmp_path, work)


def test_nothing_is_told_to_a_page_of_somewhere_else(tmp_path: Path) -> None:
    async def work(own: Editor) -> None:
        at = await asked(own, "bellcrank.picture", own.open("yard.crank", YARD), False)
        host = at.split("/")[2]
        for address, data, headers in (
            (f"http://{host}/", None, {}),
            (f"http://{host}/{'x' * 22}/", None, {}),
            (at, None, {"Host": "railway.example"}),
            (at + "news", 0, {"Origin": "http://railway.example"}),
            (at + "no-such-thing", 0, {}),
        ):
            with pytest.raises(urllib.error.HTTPError) as refused:
                await said(address, data, **headers)
            assert refused.value.code in (403, 404)
        assert "Content-Security-Policy" in await said(at)

    at_an_editor(tmp_path, work)


def test_the_page_is_built_of_the_text_as_it_was_saved_and_again_on_every_save(
    tmp_path: Path,
) -> None:
    (tmp_path / "yard.crank").write_text(YARD)

    async def work(own: Editor) -> None:
        uri = own.open("yard.crank", YARD)
        at = await asked(own, "bellcrank.page", uri, False)

        async def stamp(least: int) -> dict[str, Any]:
            async with asyncio.timeout(PATIENCE):
                while True:
                    told: dict[str, Any] = json.loads(await said(at + "stamp"))
                    if told["stamp"] >= least and told["said"] == "":
                        return told
                    await asyncio.sleep(0.05)

        await stamp(1)
        assert "Reedham Yard" in await said(at + "page")
        (tmp_path / "yard.crank").write_text(YARD.replace("Reedham Yard", "Pin Mill"))
        document = lsp.TextDocumentIdentifier(uri)
        own.client.text_document_did_save(lsp.DidSaveTextDocumentParams(document))
        await stamp(2)
        assert "Pin Mill" in await said(at + "page")

    at_an_editor(tmp_path, work)


def test_there_is_no_page_of_what_is_in_no_file(tmp_path: Path) -> None:
    async def work(own: Editor) -> None:
        uri = own.open("untitled:Untitled-1", YARD)
        with pytest.raises(Exception, match="save the layout first"):
            await asked(own, "bellcrank.page", uri, False)

    at_an_editor(tmp_path, work)
