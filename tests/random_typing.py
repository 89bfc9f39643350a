"""Somebody who types at random: words of the layout and of the language, lines twice, lines gone,
half a word, signs that no layout may hold. Seeded, so that what fails can be done again."""

from __future__ import annotations

import asyncio
import random
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from language_client import Editor
from lsprotocol import types as lsp
from pygls.exceptions import JsonRpcException

from bellcrank.compilation import compile_file
from bellcrank.diagnostics import Span

CONTENT_MODIFIED = -32801
"""The error by which a server refuses to answer of a text that has changed (Language Server
Protocol 3.17, "ErrorCodes")."""

SIGNS = [
    *("\n", " ", "  ", ".", ",", " - ", ">", "<", "{", "}", "=", '"', "#", "\t", "(", "0", "99999"),
    *("é", "𝄞", "\r\n", "\r", "\x0c", "\u2028", "\u202e", "\x00", "“"),
]

LINES = [
    "points P9\n",
    "signal D1 = K4.1\n",
    "route W = H0 to H1\n",
    "expect SLOW with CALL\n",
    "locking written {\n",
    "}\n",
    "section A = PA, X\n",
    "locking written { every route needs its positions }\n",
    "decoder K9 lamp\n",
    "drive PA = lamp  coil 1 s\n",
    "fitting x {\n legs a, b\n way a - b\n}\n",
    'use "four-track-station.crank"\n',
]


@dataclass
class Typist:
    """texts: every text that there was, by its version."""

    editor: Editor
    uri: str
    first: str
    chance: random.Random
    texts: dict[int, str] = field(default_factory=dict)
    asked: list[asyncio.Task[None]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._remember()

    def type(self) -> None:
        """One change."""
        text, chance = self.editor.text(self.uri), self.chance
        start = chance.randrange(len(text) + 1)
        match chance.randrange(12):
            case 0:  # all back
                self._put(0, len(text), self.first)
            case 1 | 2:  # some gone
                self._put(start, min(len(text), start + chance.randrange(1, 12)), "")
            case 3:  # a line gone
                end = text.find("\n", start) + 1
                self._put(text.rfind("\n", 0, start) + 1, end or len(text), "")
            case 4:  # a line twice
                begin = text.rfind("\n", 0, start) + 1
                end = text.find("\n", start) + 1 or len(text)
                self._put(begin, begin, text[begin:end])
            case 5 | 6:
                self._put(text.rfind("\n", 0, start) + 1, None, chance.choice(LINES))
            case 7:  # a word in the place of another
                words = self.first.split()
                end = start
                while end < len(text) and text[end].isalnum():
                    end += 1
                self._put(start, end, chance.choice(words))
            case 8 | 9:
                self._put(start, None, chance.choice(SIGNS))
            case _:  # a letter
                self._put(start, None, chance.choice("abPSTKDW1234 "))

    def _put(self, start: int, end: int | None, new: str) -> None:
        self.editor.type(self.uri, start, start if end is None else end, new)
        self._remember()

    def _remember(self) -> None:
        version, text = self.editor.texts[self.uri]
        self.texts[version] = text.text

    def ask(self) -> None:
        """Ask something of some place, without waiting for the answer."""
        this = lsp.TextDocumentIdentifier(self.uri)
        text = self.editor.texts[self.uri][1]
        at = text.position(self.chance.randrange(len(text.text) + 1))
        client, range_ = self.editor.client, text.whole
        match self.chance.randrange(10):
            case 0:
                work = client.text_document_hover_async(lsp.HoverParams(this, at))
            case 1:
                work = client.text_document_completion_async(lsp.CompletionParams(this, at))
            case 2:
                work = client.text_document_semantic_tokens_full_async(
                    lsp.SemanticTokensParams(this)
                )
            case 3:
                work = client.text_document_definition_async(lsp.DefinitionParams(this, at))
            case 4:
                work = client.text_document_document_symbol_async(lsp.DocumentSymbolParams(this))
            case 5:
                work = client.text_document_inlay_hint_async(lsp.InlayHintParams(this, range_))
            case 6:
                work = client.text_document_code_action_async(
                    lsp.CodeActionParams(this, lsp.Range(at, at), lsp.CodeActionContext([]))
                )
            case 7:
                work = client.text_document_folding_range_async(lsp.FoldingRangeParams(this))
            case 8:
                work = client.text_document_formatting_async(
                    lsp.DocumentFormattingParams(this, lsp.FormattingOptions(2, True))
                )
            case _:
                context = lsp.ReferenceContext(True)
                work = client.text_document_references_async(lsp.ReferenceParams(context, this, at))
        self.asked.append(asyncio.create_task(_answered(work)))  # type: ignore[arg-type]

    async def all_answered(self) -> None:
        """Raises what the server answered by mistake."""
        await asyncio.gather(*self.asked)
        self.asked.clear()


async def _answered(work: asyncio.Future[object]) -> None:
    try:
        await work
    except JsonRpcException as error:
        if error.code != CONTENT_MODIFIED:
            raise


async def type_at_random(editor: Editor, path: Path, edits: int, seed: int) -> Typist:
    """Type, ask, and wait now and then for what is said of the text."""
    first = path.read_text("utf-8")
    uri = editor.open(path.name, first)
    typist = Typist(editor, uri, first, random.Random(seed))
    for _ in range(edits):
        typist.type()
        if typist.chance.random() < 0.3:
            typist.ask()
        if typist.chance.random() < 0.2:
            await editor.diagnostics(uri)
            await typist.all_answered()
        else:
            await asyncio.sleep(0)
    await editor.diagnostics(uri)
    await typist.all_answered()
    return typist


def said_by_check(text: str, path: Path) -> set[tuple[str, int, int, str]]:
    """What `check` says of a text in a file: codes, places as an editor counts them, first lines.

    path: a file of the same name as the one that is typed, in a folder of its own.
    """
    path.write_bytes(text.encode("utf-8"))
    found = [d for d in compile_file(path).diagnostics if d.span.file == path.name]
    return {(d.code, *place_for_editor(text, d.span), d.message.split("\n")[0]) for d in found}


def place_for_editor(text: str, span: Span) -> tuple[int, int]:
    """Where a span begins for an editor, counted anew."""
    rows = text.split("\n")
    before = "\n".join(rows[: span.line - 1]) + "\n" if span.line > 1 else ""
    row = rows[span.line - 1].removesuffix("\r") if span.line <= len(rows) else ""
    before += row[: span.column - 1]
    ends = before.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return len(ends) - 1, len(ends[-1].encode("utf-16-le", "surrogatepass")) // 2


def said_to_editor(diagnostics: Iterable[lsp.Diagnostic]) -> set[tuple[str, int, int, str]]:
    """The same of what an editor was told, without what the proof says."""
    return {
        (str(d.code), d.range.start.line, d.range.start.character, d.message.split("\n")[0])
        for d in diagnostics
        if str(d.code)[:1] in "EW"
    }
