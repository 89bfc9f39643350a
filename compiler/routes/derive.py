"""From the layout and its route lines to the routes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

from bellcrank.diagnostics import (
    MOST_MISTAKES,
    Collector,
    Diagnostic,
    Span,
    TooManyMistakesError,
    has_errors,
)
from bellcrank.layout.layout_model import Layout, Leg, Signal
from bellcrank.layout.quantities import number
from bellcrank.routes.conflicts import find_conflicts, pairs_at_least
from bellcrank.routes.demands import check_demands, find_position
from bellcrank.routes.ends import warn_of_no_way_back
from bellcrank.routes.flank import derived_flank
from bellcrank.routes.frogs import check_frogs
from bellcrank.routes.making import make_route
from bellcrank.routes.overlaps import build_overlaps
from bellcrank.routes.panel import build_panel
from bellcrank.routes.route_model import Overlap, Route, RouteTable
from bellcrank.routes.route_naming import by_start, find_route, names_with_via
from bellcrank.routes.section_gaps import parts_of, report_section_gaps
from bellcrank.routes.sentences import listed
from bellcrank.routes.slips import warn_of_slips
from bellcrank.routes.track_search import Path, Search
from bellcrank.routes.walks import Walks
from bellcrank.routes.written import write_routes
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import Program

MOST_PAIRS = 500_000
"""Pairs of routes over one section that are compared."""

MOST_ROUTES = 20_000
"""Routes derived unless the layout says `routes derive at most N`."""


def build_routes(program: Program, layout: Layout) -> tuple[RouteTable, tuple[Diagnostic, ...]]:
    """The route table of a layout that is without errors, and the diagnostics."""
    found = Collector(most=MOST_MISTAKES)
    try:
        table = _routes(program, layout, found)
    except TooManyMistakesError:
        table = RouteTable({}, {}, {})
    return table, found.result()


def _routes(program: Program, layout: Layout, found: Collector) -> RouteTable:
    said = [*program.of(t.RoutesDerive), *program.of(t.RoutesWritten)]
    for line in said[1:]:
        found.report(
            "E107",
            "how routes are found is said twice",
            line.span,
            expected="one of `routes derive` and `routes written`",
            related=[(said[0].span, "said here too")],
        )
    most = MOST_ROUTES
    for line in program.of(t.RoutesDerive):
        if line.at_most is not None:
            most = number(line.at_most, "a number of routes", 1, 1_000_000, found) or most
    walks = Walks(layout, most, found)
    overlaps = build_overlaps(program.of(t.OverlapLine), layout, found)

    sections = program.of(t.SectionLine)
    derived = [] if program.of(t.RoutesWritten) else _derive(walks, overlaps)
    if not program.of(t.RoutesWritten):
        _report_gaps(sections, walks)
    written = write_routes(program.of(t.RouteLine), walks, overlaps, derived, sections)
    routes = _with_flank(written, program, walks)
    for route in routes.values():
        check_demands(route, found)
    check_frogs(routes.values(), layout, found)
    # Without signals there can be none, and drives can be thrown all the same.
    asked = layout.signals or program.of(t.RoutesWritten)
    if not routes and asked and not has_errors(found.diagnostics):
        _report_no_routes(program, layout, found)
    table = RouteTable(routes, {}, {})
    if not has_errors(found.diagnostics):
        _warn_of_waiting(routes, layout, found)
        _warn_of_aspects(routes, layout, found)
        _warn_of_overlaps(overlaps, routes, found)
        turned_round = warn_of_slips(program, walks, routes)
        warn_of_no_way_back(layout, routes, found, turned_round)
        if pairs_at_least(routes) > MOST_PAIRS:
            found.report(
                "E404",
                f"{len(routes):,} routes get into each other's way in too many pairs",
                next(iter(routes.values())).span,
                hint="put signals between, so that routes are shorter and fewer",
            )
        else:
            table = find_conflicts(routes, layout)
        table = replace(table, panel=build_panel(program, layout, routes, found))
    return table


def _warn_of_waiting(routes: Mapping[str, Route], layout: Layout, found: Collector) -> None:
    """Warn of routes over the section in which their own train waits."""
    for route in routes.values():
        if route.approach is None:
            continue
        section = layout.section_of[route.approach]
        # Where the first section is the one, the layout has been warned of its signal.
        if section in route.sections_clear[1:] and section != route.sections[0]:
            found.report(
                "W802",
                f"{route.name} leads over {section}, in which its own train waits and "
                "which it needs clear",
                route.span,
                hint="put a signal, and an end of a section, before it comes round to there",
            )


def _warn_of_aspects(routes: Mapping[str, Route], layout: Layout, found: Collector) -> None:
    """Warn of calling-on routes that look to the driver like any other route."""
    for route in routes.values():
        if not route.calling_on or layout.signals[route.start].shunt:
            continue
        for other in routes.values():
            if other.start == route.start and not other.calling_on and other.aspect == route.aspect:
                found.report(
                    "W806",
                    f"{route.start} shows {route.aspect} for {route.name} as it does for "
                    f"{other.name}: the driver cannot see that the road may be occupied",
                    route.span,
                    hint=f"give {route.start} an aspect for calling on and write `shows` with it",
                )
                break


def _warn_of_overlaps(
    overlaps: Mapping[str, Overlap], routes: Mapping[str, Route], found: Collector
) -> None:
    ends = {route.end for route in routes.values()}
    for overlap in overlaps.values():
        if overlap.signal not in ends:
            found.report(
                "W807",
                f"no route ends at {overlap.signal}, so its overlap protects nothing",
                overlap.span,
                hint="name the signal that trains come up to from the other side",
            )


def _report_no_routes(program: Program, layout: Layout, found: Collector) -> None:
    written = program.of(t.RoutesWritten)
    if written:
        found.report(
            "E408",
            "this layout has no routes: no `route` line names one",
            written[0].span,
            expected="at least one line such as `route H1 to T1`",
            hint="leave `routes written` out to have all routes found",
        )
        return
    file = program.files[-1]
    at = file.statements[0].span if file.statements else Span(file.name, 1, 1, 1, 2)
    found.report(
        "E408",
        "this layout has no routes, so there is nothing to prove",
        at,
        expected="signals in the runs, such as `run edge WEST - A - >W1 - P1.toe`",
    )


def _derive(walks: Walks, overlaps: Mapping[str, Overlap]) -> list[Route]:
    routes = []
    told: set[tuple[tuple[str, ...], ...]] = set()
    for signal in walks.layout.signals.values():
        result = walks.from_signal(signal.name)
        if walks.overrun:
            break
        ends: dict[str, list[Path]] = defaultdict(list)
        for path in result.paths:
            ends[path.end].append(path)
        for paths in ends.values():
            routes += [
                make_route(name, path, overlaps, walks.layout)
                for path, name in zip(paths, names_with_via(paths), strict=True)
            ]
        apart = next((p for p in (parts_of(s, walks.layout) for s in result.met) if len(p) > 1), ())
        if not apart or apart not in told:  # of a section in parts all these are one mistake
            _report_met(signal, result, apart, walks.found)
            told.add(apart)
    return routes


def _report_gaps(lines: list[t.SectionLine], walks: Walks) -> None:
    stranded = {n for n in walks.gaps if not walks.searches[n].paths and not walks.searches[n].met}
    gaps = [gap for some in walks.gaps.values() for gap in some]
    report_section_gaps(gaps, lines, stranded, walks.found)


def _report_met(
    signal: Signal, result: Search, apart: Sequence[Sequence[str]], found: Collector
) -> None:
    """apart: the parts of a section that it comes back to, if that does not lie together."""
    for drive, end in result.barred.items():
        found.report(
            "W805",
            f"no train can go one of the ways from {signal.name} to {end}: {drive} is coupled "
            "and would have to lie two ways at once",
            signal.span,
            hint="couple drives that lead the same way; the way is left out of the routes",
        )
    if not result.met:
        return
    where = ", ".join(result.met[:4])
    hint = "put a signal on the way round, read in the same direction"
    if apart:
        one, *others = [", ".join(part) for part in apart]
        lies = "lies" if len(apart[0]) == 1 else "lie"
        hint = f"{one} {lies} apart from {listed(others)} in one section: make a section of each"
    if result.paths:
        found.report(
            "W803",
            f"a way from {signal.name} comes back to itself at {where} before any signal; "
            "it is left out of the routes",
            signal.span,
            hint=hint,
        )
    else:
        found.report(
            "E403",
            f"every way from {signal.name} meets itself: it comes back to {where} "
            "before any signal",
            signal.span,
            hint=hint,
        )


def _with_flank(routes: dict[str, Route], program: Program, walks: Walks) -> dict[str, Route]:
    layout = walks.layout
    found = walks.found
    if program.of(t.FlankDerive):
        open_legs: dict[Leg, str] = {}
        used = {element for route in routes.values() for element in route.elements}
        for name, route in routes.items():
            flank, unprotected = derived_flank(route.ways, layout, walks.at, used)
            routes[name] = replace(route, flank=flank)
            for leg in unprotected:
                open_legs.setdefault(leg, name)
        for leg, name in open_legs.items():
            found.report(
                "W811",
                f"nothing keeps what comes from {leg} off the route {name}: "
                "no signal stands there and no drive can be set away",
                program.of(t.FlankDerive)[0].span,
                hint="add a signal, or trap points, between there and the route",
            )
    starts = by_start(routes.values())
    for line in program.of(t.FlankWritten):
        meant = find_route(line.route, routes, starts, found, "E401")
        if meant is None:
            continue
        route = routes[meant.name]
        demands: dict[str, str] = dict(route.flank)
        for demand in line.demands:
            position = find_position(demand, layout, found)
            if position is None:
                continue
            drive, where = position
            own = (route.demands | demands).get(drive, where)
            if own != where:
                found.report(
                    "E503",
                    f"{route.name} would need {drive} both {own} and {where}",
                    demand.span,
                    hint="leave this demand out",
                )
            else:
                demands[drive] = where
        routes[route.name] = replace(route, flank=tuple(demands.items()))
    return routes
