"""What an editor asks about a text, answered of the text as it is when the answer is sent.

An answer waits until the text is compiled, and is not given if the text has changed meanwhile
(Language Server Protocol 3.17, error "ContentModified"). Only completion never waits: it takes
the text as it is, and of the layout what is known by then.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TypeVar

from lsprotocol import types as lsp
from pygls.exceptions import JsonRpcContentModified, JsonRpcInvalidParams
from pygls.lsp.server import LanguageServer

from bellcrank.diagnostics import Span
from bellcrank.editing import actions, colouring, completion, inlays, navigation
from bellcrank.editing.analysis import Analysis
from bellcrank.editing.desk import Desk, GoneError, place_of
from bellcrank.editing.hovers import hover
from bellcrank.editing.names import Occurrence
from bellcrank.editing.renaming import NotRenamedError, renamable, renamed
from bellcrank.editing.texts import Text
from bellcrank.editing.verdicts import Verdicts
from bellcrank.syntax import tree as t

R = TypeVar("R")


@dataclass(frozen=True)
class _View:
    """A text as it is, and the layout that it belongs to."""

    desk: Desk
    analysis: Analysis
    uri: str
    name: str
    text: Text

    @property
    def source(self) -> t.SourceFile:
        return next(f for f in self.analysis.draft.program.files if f.name == self.name)

    def locate(self, span: Span) -> lsp.Location:
        return self.desk.location(self.analysis, span)

    def word_at(self, position: lsp.Position) -> Occurrence | None:
        line, column = self.text.place(self.text.offset(position))
        return self.analysis.names.at(self.name, line, column)


AtCursor = Callable[[Analysis, Occurrence | None], None]
"""Is told which word of a layout the cursor is on."""


def register(server: LanguageServer, desk: Desk, verdicts: Verdicts, at_cursor: AtCursor) -> None:
    """Let a server answer all that is asked."""

    async def view(document: lsp.TextDocumentIdentifier) -> _View:
        place = place_of(document.uri)
        try:
            open_, analysis = await desk.current(place)
        except GoneError:
            raise JsonRpcContentModified("the text has changed meanwhile") from None
        name = analysis.name_of[place]
        if all(file.name != name for file in analysis.draft.program.files):
            raise JsonRpcContentModified("the text could not be read")
        return _View(desk, analysis, document.uri, name, open_.text)

    @server.feature(lsp.TEXT_DOCUMENT_HOVER)
    async def hovered(params: lsp.HoverParams) -> lsp.Hover | None:
        v = await view(params.text_document)
        line, column = v.text.place(v.text.offset(params.position))
        told = hover(v.analysis, desk.routed(place_of(v.uri)), v.name, line, column)
        if told is None:
            return None
        markdown = lsp.MarkupContent(lsp.MarkupKind.Markdown, told.text)
        return lsp.Hover(markdown, v.text.range_of(told.of) if told.of else None)

    @server.feature(lsp.TEXT_DOCUMENT_DEFINITION)
    async def definition(params: lsp.DefinitionParams) -> list[lsp.Location] | None:
        v = await view(params.text_document)
        word = v.word_at(params.position)
        if word is None or word.meaning is None:
            return None
        return navigation.definitions(word.meaning, v.analysis.names, v.locate, v.text)

    @server.feature(lsp.TEXT_DOCUMENT_REFERENCES)
    async def references(params: lsp.ReferenceParams) -> list[lsp.Location] | None:
        v = await view(params.text_document)
        word = v.word_at(params.position)
        if word is None or word.meaning is None:
            return None
        named = v.analysis.names.of(word.meaning)
        wanted = [o for o in named if params.context.include_declaration or not o.declared]
        return [v.locate(o.span) for o in wanted]

    @server.feature(lsp.TEXT_DOCUMENT_DOCUMENT_HIGHLIGHT)
    async def highlight(
        params: lsp.DocumentHighlightParams,
    ) -> list[lsp.DocumentHighlight] | None:
        v = await view(params.text_document)
        word = v.word_at(params.position)
        at_cursor(v.analysis, word)
        if word is None or word.meaning is None:
            return None
        here = [o for o in v.analysis.names.of(word.meaning) if o.span.file == v.name]
        return [lsp.DocumentHighlight(v.text.range_of(o.span)) for o in here]

    @server.feature(lsp.TEXT_DOCUMENT_DOCUMENT_SYMBOL)
    async def symbols(params: lsp.DocumentSymbolParams) -> list[lsp.DocumentSymbol]:
        v = await view(params.text_document)
        return navigation.outline(v.source, v.analysis.names, v.text)

    @server.feature(lsp.TEXT_DOCUMENT_FOLDING_RANGE)
    async def folding(params: lsp.FoldingRangeParams) -> list[lsp.FoldingRange]:
        v = await view(params.text_document)
        return navigation.folds(v.source, v.text)

    @server.feature(
        lsp.TEXT_DOCUMENT_SEMANTIC_TOKENS_FULL,
        lsp.SemanticTokensLegend(list(colouring.TYPES), list(colouring.MODIFIERS)),
    )
    async def tokens(params: lsp.SemanticTokensParams) -> lsp.SemanticTokens:
        v = await view(params.text_document)
        return lsp.SemanticTokens(colouring.coloured(v.name, v.analysis.names, v.text))

    @server.feature(lsp.TEXT_DOCUMENT_INLAY_HINT)
    async def inlay_hints(params: lsp.InlayHintParams) -> list[lsp.InlayHint]:
        v = await view(params.text_document)
        lines = range(params.range.start.line, params.range.end.line + 1)
        all_ = inlays.inlays(v.analysis, v.name, v.text)
        return [hint for hint in all_ if hint.position.line in lines]

    @server.feature(
        lsp.TEXT_DOCUMENT_CODE_ACTION,
        lsp.CodeActionOptions(code_action_kinds=[lsp.CodeActionKind.QuickFix]),
    )
    async def code_actions(
        params: lsp.CodeActionParams,
    ) -> list[lsp.CodeAction | lsp.Command]:
        v = await view(params.text_document)
        asked = params.range
        found: list[lsp.CodeAction | lsp.Command] = [
            *actions.quick_fixes(v.analysis, v.name, v.text, asked, v.uri, v.locate)
        ]
        mending = verdicts.mending_of(v.analysis)
        if mending is not None and _about_locking(v, verdicts, asked):
            files = {
                name: (desk.uri_of(place), desk.text_of(v.analysis, name))
                for name, place in v.analysis.places.items()
            }
            found.append(actions.missing_rules(mending, files))
        if _at_layout_line(v, asked):
            found += actions.shown_beside(v.uri)
        return found

    @server.feature(lsp.TEXT_DOCUMENT_PREPARE_RENAME)
    async def prepare_rename(
        params: lsp.PrepareRenameParams,
    ) -> lsp.PrepareRenamePlaceholder | None:
        v = await view(params.text_document)
        word = v.word_at(params.position)
        if word is None:
            return None
        _refusing(partial(renamable, v.analysis, word))
        return lsp.PrepareRenamePlaceholder(v.text.range_of(word.span), word.text)

    @server.feature(lsp.TEXT_DOCUMENT_RENAME, lsp.RenameOptions(prepare_provider=True))
    async def rename(params: lsp.RenameParams) -> lsp.WorkspaceEdit | None:
        v = await view(params.text_document)
        word = v.word_at(params.position)
        if word is None:
            return None
        meaning = _refusing(partial(renamable, v.analysis, word))
        places = _refusing(partial(renamed, v.analysis, meaning, params.new_name))
        changes: dict[str, list[lsp.TextEdit]] = {}
        for spans in places.values():
            for span in spans:
                at = v.locate(span)
                changes.setdefault(at.uri, []).append(lsp.TextEdit(at.range, params.new_name))
        return lsp.WorkspaceEdit(changes=dict(changes))

    @server.feature(lsp.TEXT_DOCUMENT_FORMATTING)
    def formatting(params: lsp.DocumentFormattingParams) -> list[lsp.TextEdit] | None:
        try:
            text = desk.document(place_of(params.text_document.uri)).text
        except GoneError:
            return None
        return actions.formatted(text, "layout.crank")

    @server.feature(
        lsp.TEXT_DOCUMENT_COMPLETION, lsp.CompletionOptions(trigger_characters=[".", " ", ">", "<"])
    )
    def complete(params: lsp.CompletionParams) -> list[lsp.CompletionItem]:
        place = place_of(params.text_document.uri)
        try:
            text = desk.document(place).text
        except GoneError:
            return []
        before = text.text[: text.offset(params.position)].replace("\r\n", "\n")
        return completion.completions(before, desk.known(place), desk.routed(place))


def _about_locking(v: _View, verdicts: Verdicts, asked: lsp.Range) -> bool:
    """Whether a range is where missing rules are told of, or in the written locking."""
    said = verdicts.of(v.analysis)
    spans = [finding.at for finding in said.findings] if said else []
    spans += [s.span for s in v.source.statements if isinstance(s, t.LockingLine)]
    lines = range(asked.start.line, asked.end.line + 1)
    ranges = [v.text.range_of(span) for span in spans if span.file == v.name]
    return any(r.start.line in lines or asked.start.line in range(r.start.line, r.end.line + 1)
               for r in ranges)  # fmt: skip


def _at_layout_line(v: _View, asked: lsp.Range) -> bool:
    """Whether a range begins on the line that gives the layout its title."""
    spans = [s.span for s in v.source.statements if isinstance(s, t.LayoutLine)]
    return any(v.text.range_of(span).start.line == asked.start.line for span in spans)


def _refusing(work: Callable[[], R]) -> R:
    """What comes of a renaming, or the refusal as the editor shows it."""
    try:
        return work()
    except NotRenamedError as error:
        raise JsonRpcInvalidParams(str(error)) from None
