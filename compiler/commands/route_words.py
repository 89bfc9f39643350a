"""The words of a command line that name routes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from bellcrank.diagnostics import Collector, Diagnostic, Span
from bellcrank.document.report_data import diagnostics_data
from bellcrank.document.report_types import AskedWrongly
from bellcrank.routes.route_model import Route, RouteTable
from bellcrank.routes.route_naming import COMMAND_LINE, asked_refs, asked_routes, report_number
from bellcrank.terminal.console import print_diagnostics, print_json


def routes_asked_for(words: Sequence[str], table: RouteTable, *, json: bool) -> list[Route] | None:
    """The one or two routes that the words of a command mean; None, with the reason told,
    if they mean none."""
    text = " ".join(words)
    found = Collector()
    refs = asked_refs(text, table.routes)
    if not 1 <= len(refs) <= 2:
        report_number(text, refs, "one route, or two", found)
    routes = asked_routes(refs, table.routes, found)
    if not found.diagnostics and len(routes) == 2 and routes[0] is routes[1]:
        found.report(
            "E402", "these are one and the same route", refs[1].span, expected="two routes"
        )
    wrong = found.result()
    if not wrong:
        return routes
    if len(words) == 2 and (name := " to ".join(words)) in table.routes:
        whole = Span(COMMAND_LINE, 1, 1, 1, len(text) + 1)
        wrong = (Diagnostic("E401", f"there is no route `{text}`", whole, hint=f"write `{name}`"),)
    if json:
        print_json(AskedWrongly("error", diagnostics_data(wrong), None))
    else:
        print_diagnostics(wrong, {COMMAND_LINE: text})
    return None


def next_words(given: tuple[str, ...], names: Iterable[str]) -> list[str]:
    """The words that may come next, where routes are named one after another."""
    routes = [tuple(name.split()) for name in names]
    found: dict[str, None] = {}
    starts, seen = [given], {given}
    for rest in starts:
        for route in routes:
            if route[: len(rest)] == rest and len(route) > len(rest):
                found[route[len(rest)]] = None
            left = rest[len(route) :]
            if route == rest[: len(route)] and left not in seen:
                starts.append(left)
                seen.add(left)
    return list(found)
