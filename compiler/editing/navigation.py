"""Where a name is declared and used, the outline of a file, and what of it can be folded."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache
from importlib import resources
from pathlib import Path

from lsprotocol import types as lsp

from bellcrank.diagnostics import Span
from bellcrank.editing.names import (
    STANDARD_FITTINGS,
    Meaning,
    Names,
    Occurrence,
    Role,
    standard_names,
)
from bellcrank.editing.texts import Text
from bellcrank.editing.told import Locate
from bellcrank.syntax import tree as t
from bellcrank.syntax.formatter import format_statement


def definitions(meaning: Meaning, names: Names, locate: Locate, text: Text) -> list[lsp.Location]:
    """Where something is declared: in the layout, or in the file of standard fittings.

    text: any text of the editor, which has the units that it counts in.
    """
    declared = [o for o in names.of(meaning) if o.declared]
    if declared:
        return [locate(o.span) for o in declared]
    standard = [o for o in _standard().of(meaning) if o.declared]
    if standard:
        path, own = _standard_file()
        return [
            lsp.Location(path.as_uri(), Text(own, text.units).range_of(o.span)) for o in standard
        ]
    return [locate(o.span) for o in names.declared(meaning)]


@cache
def _standard() -> Names:
    return standard_names()


@cache
def _standard_file() -> tuple[Path, str]:
    path = Path(str(resources.files("bellcrank.grammar").joinpath(STANDARD_FITTINGS)))
    return path, path.read_text("utf-8")


_KINDS = {
    "fitting": lsp.SymbolKind.Class,
    "edge": lsp.SymbolKind.Module,
    "signal": lsp.SymbolKind.Event,
    "repeater": lsp.SymbolKind.Event,
    "section": lsp.SymbolKind.Struct,
    "route": lsp.SymbolKind.Function,
    "kind of decoder": lsp.SymbolKind.Class,
    "decoder": lsp.SymbolKind.Interface,
    "kind of detector": lsp.SymbolKind.Class,
    "detector": lsp.SymbolKind.Interface,
    "leg": lsp.SymbolKind.Property,
    "drive": lsp.SymbolKind.Method,
    "position": lsp.SymbolKind.EnumMember,
}


def outline(source: t.SourceFile, names: Names, text: Text) -> list[lsp.DocumentSymbol]:
    """What a file declares, in the order of the text; what runs and kinds of fittings declare
    stands below them."""
    found = []
    for statement in source.statements:
        within = [
            _symbol(o, text, o.span)
            for o in _declared_in(statement.span, names)
            if o.role not in (Role.KIND, Role.ASPECT)
        ]
        match statement:
            case t.LayoutLine():
                found.append(_named(statement, statement.title, lsp.SymbolKind.File, [], text))
            case t.RunLine():
                name = format_statement(statement).split("\n")[0]
                found.append(_named(statement, name, lsp.SymbolKind.Array, within, text))
            case t.FittingDefinition():
                kind = lsp.SymbolKind.Class
                found.append(_named(statement, statement.kind.text, kind, within, text))
            case t.LockingLine():
                name = "locking derive" if statement.derive else "locking written"
                found.append(_named(statement, name, lsp.SymbolKind.Namespace, [], text))
            case t.DriveLine():
                name = f"drive {statement.drive}"
                found.append(_named(statement, name, lsp.SymbolKind.Method, [], text))
            case _ if len(within) == 1:
                (one,) = within
                one.range = text.range_of(statement.span)
                found.append(one)
            case _:
                found += within
    return found


def _declared_in(span: Span, names: Names) -> Iterator[Occurrence]:
    for line in range(span.line, span.end_line + 1):
        yield from (o for o in names.in_line(span.file, line) if o.declared)


def _symbol(o: Occurrence, text: Text, span: Span) -> lsp.DocumentSymbol:
    kind = _KINDS.get(o.declared or "", lsp.SymbolKind.Variable)
    return lsp.DocumentSymbol(
        o.text, kind, text.range_of(span), text.range_of(o.span), detail=o.declared
    )


def _named(
    statement: t.Statement,
    name: str,
    kind: lsp.SymbolKind,
    within: Sequence[lsp.DocumentSymbol],
    text: Text,
) -> lsp.DocumentSymbol:
    whole = text.range_of(statement.span)
    first = lsp.Range(whole.start, whole.start)
    return lsp.DocumentSymbol(name or "layout", kind, whole, first, children=list(within) or None)


def folds(source: t.SourceFile, text: Text) -> list[lsp.FoldingRange]:
    """Statements over several lines, and comments that stand on lines of their own."""
    stretches: list[tuple[Span, lsp.FoldingRangeKind | None]] = [
        (statement.span, None) for statement in source.statements
    ]
    stretches += [(span, lsp.FoldingRangeKind.Comment) for span in _blocks(source.comments)]
    ranges = [(text.range_of(span), kind) for span, kind in stretches]
    return [
        lsp.FoldingRange(r.start.line, r.end.line, kind=kind)
        for r, kind in ranges
        if r.end.line > r.start.line
    ]


def _blocks(comments: Sequence[t.Comment]) -> Iterator[Span]:
    """Comments that follow each other, each on a line of its own."""
    block: Span | None = None
    for comment in comments:
        if not comment.alone:
            continue
        if block is not None and comment.span.line == block.end_line + 1:
            block = block.to(comment.span)
            continue
        if block is not None:
            yield block
        block = comment.span
    if block is not None:
        yield block
