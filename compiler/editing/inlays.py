"""What a text leaves open and the compiler has chosen, shown in the line: outputs, inputs and
addresses; and which route is meant where it is said by its ends, or by a name."""

from __future__ import annotations

from collections.abc import Iterator

from lsprotocol import types as lsp

from bellcrank.diagnostics import Collector
from bellcrank.editing.analysis import Analysis
from bellcrank.editing.texts import Text
from bellcrank.routes.route_naming import by_start, find_route
from bellcrank.syntax import tree as t


def inlays(analysis: Analysis, file: str, text: Text) -> list[lsp.InlayHint]:
    """All that is shown in one file."""
    source = next(f for f in analysis.draft.program.files if f.name == file)
    return [*_chosen(analysis, source, text), *_routes(analysis, source, text)]


def _chosen(analysis: Analysis, source: t.SourceFile, text: Text) -> Iterator[lsp.InlayHint]:
    layout = analysis.draft.layout
    for statement in source.statements:
        if isinstance(statement, t.DecoderLine | t.DetectorLine) and statement.address is None:
            name = statement.name.text
            one = (
                layout.hardware.decoders.get(name)
                if isinstance(statement, t.DecoderLine)
                else layout.reports.detectors.get(name)
            )
            if one is not None and one.address:
                yield _after(statement.kind, f"at {one.address}", "chosen", text)
        for node in t.nodes_in(statement):
            taken = layout.chosen.get(node.span)
            if taken and isinstance(node, t.FreeOutput | t.FreeInput):
                yield _after(node, ", ".join(map(str, taken)), "chosen", text)


def _routes(analysis: Analysis, source: t.SourceFile, text: Text) -> Iterator[lsp.InlayHint]:
    table = analysis.draft.table
    if table is None:
        return
    starts = by_start(table.routes.values())
    for statement in source.statements:
        for node in t.nodes_in(statement):
            if not isinstance(node, t.RouteWay | t.RouteByName):
                continue
            if isinstance(node, t.RouteByName) and node.name.text not in table.routes:
                continue  # a button may be for a place
            route = find_route(node, table.routes, starts, Collector(), "E401")
            if route is None or route.name == str(node):
                continue
            named = isinstance(statement, t.RouteLine) and statement.way is node and statement.name
            if named:
                continue
            said = (
                f"{route.start} to {route.end}" if isinstance(node, t.RouteByName) else route.name
            )
            if said != str(node):
                yield _after(node, f"({said})", "the route", text)


def _after(node: t.Node, said: str, why: str, text: Text) -> lsp.InlayHint:
    place = text.range_of(node.span).end
    return lsp.InlayHint(place, said, tooltip=why, padding_left=True)
