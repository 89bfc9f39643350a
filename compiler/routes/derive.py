"""From the layout and its route lines to the routes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TypeVar

import networkx as nx

from bellcrank.diagnostics import Collector, Diagnostic, Span, did_you_mean
from bellcrank.layout.graph import IN, OUT, track_graph
from bellcrank.layout.model import Layout, Leg, Position, Signal, TrackEnd
from bellcrank.layout.quantities import number
from bellcrank.routes.conflicts import find_conflicts
from bellcrank.routes.flank import derived_flank
from bellcrank.routes.model import Overlap, Route, RouteTable
from bellcrank.routes.naming import find_route, matches, via_names
from bellcrank.routes.overlaps import build_overlaps
from bellcrank.routes.search import Path, Search, comes_back, search, signals_by_joint
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import Program

MOST_ROUTES = 20_000
"""Routes derived unless the layout says `routes derive at most N`."""

S = TypeVar("S", bound=t.Node)


class _Routes:
    """The walks from each signal, made once when first asked for."""

    def __init__(self, layout: Layout, most: int, found: Collector) -> None:
        self.layout = layout
        self.most = most
        self.found = found
        self.at: dict[TrackEnd, Signal] = signals_by_joint(layout)
        self.searches: dict[str, Search] = {}
        self.count = 0
        self.overrun = False

    def from_signal(self, name: str) -> Search:
        """The ways from a signal that come back into no section of their own."""
        if name not in self.searches:
            signal = self.layout.signals[name]
            result = Search()
            if not self.overrun:
                result = search(self.layout, signal, self.at, self.most - self.count)
                self._tidy(result)
            if result.overrun and not self.overrun:
                self.overrun = True
                self._report_overrun(signal)
            self.count += len(result.paths)
            self.searches[name] = result
        return self.searches[name]

    def _tidy(self, result: Search) -> None:
        kept = []
        for path in result.paths:
            again = comes_back(path, self.layout)
            if again is not None:
                if again not in result.met:
                    result.met.append(again)
            elif not _needs_both_ways(path):
                kept.append(path)
        result.paths[:] = kept

    def _report_overrun(self, signal: Signal) -> None:
        self.found.report(
            "E404",
            f"there are too many ways: over {self.most:,} routes, "
            f"or too much track without a signal beyond {signal.name}",
            signal.span,
            hint="put signals between, name the routes you use with `route`, "
            "or write `routes derive at most …` with a greater number",
        )


def _needs_both_ways(path: Path) -> bool:
    """Whether coupled drives would have to lie two ways at once: then no train
    can ever take this way, as none runs from one branch leg of points to the other."""
    needed: dict[str, str] = {}
    return any(
        needed.setdefault(drive, position) != position
        for way in path.ways
        for drive, position in way.when
    )


def build_routes(program: Program, layout: Layout) -> tuple[RouteTable, tuple[Diagnostic, ...]]:
    """The route table of a layout that is without errors, and the diagnostics."""
    found = Collector()
    statements = [s for source in program.files for s in source.statements]
    derive_lines = _of(statements, t.RoutesLine)
    route_lines = _of(statements, t.RouteLine)
    for line in derive_lines[1:]:
        found.report("E107", "`routes derive` is said twice", line.span)
    most = MOST_ROUTES
    if derive_lines and derive_lines[0].at_most is not None:
        most = number(derive_lines[0].at_most, "a number of routes", 1, 1_000_000, found) or most
    walks = _Routes(layout, most, found)
    overlaps = build_overlaps(_of(statements, t.OverlapLine), layout, found)

    derived: list[Route] = []
    if derive_lines or not route_lines:
        derived = _derive(walks, overlaps)
    written = _write(route_lines, walks, overlaps, derived)
    routes = _with_flank(written, _of(statements, t.FlankDerive), statements, walks)
    for route in routes.values():
        _check_demands(route, found)
    if not routes and not any(d.severity == "error" for d in found.diagnostics):
        _report_no_routes(program, layout, found)
    table = RouteTable(routes, {}, {})
    if not any(d.severity == "error" for d in found.diagnostics):
        table = find_conflicts(routes, layout)
    return table, found.result()


def _report_no_routes(program: Program, layout: Layout, found: Collector) -> None:
    file = program.files[-1]
    at = file.statements[0].span if file.statements else Span(file.name, 1, 1, 1, 2)
    found.report(
        "E408",
        "this layout has no routes, so there is nothing to prove"
        + ("" if layout.signals else ": it has no signals"),
        at,
        expected="signals in the runs, such as `run edge WEST - A - >W1 - P1.toe`",
    )


def _of(statements: Iterable[t.Statement], kind: type[S]) -> list[S]:
    return [s for s in statements if isinstance(s, kind)]


def by_start(routes: Iterable[Route]) -> dict[str, list[Route]]:
    """Routes by the signal they start at."""
    result: dict[str, list[Route]] = defaultdict(list)
    for route in routes:
        result[route.start].append(route)
    return dict(result)


def _derive(walks: _Routes, overlaps: Mapping[str, Overlap]) -> list[Route]:
    routes = []
    for signal in walks.layout.signals.values():
        result = walks.from_signal(signal.name)
        if walks.overrun:
            break
        ends: dict[str, list[Path]] = defaultdict(list)
        for path in result.paths:
            ends[path.end].append(path)
        for end, paths in ends.items():
            names: set[str] = set()
            for path, via in zip(paths, via_names(paths), strict=True):
                name = f"{path.start} to {end}" + (f" via {' then '.join(via)}" if via else "")
                # Ways over the same pieces in another order are told apart by number.
                unique, count = name, 1
                while unique in names:
                    count += 1
                    unique = f"{name} ({count})"
                names.add(unique)
                routes.append(_route(unique, path, overlaps, walks.layout))
        _report_met(signal, result, walks.found)
    return routes


def _report_met(signal: Signal, result: Search, found: Collector) -> None:
    if not result.met:
        return
    where = ", ".join(result.met[:4])
    hint = "put a signal on the way round, read in the same direction"
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


def _route(name: str, path: Path, overlaps: Mapping[str, Overlap], layout: Layout) -> Route:
    signal = layout.signals[path.start]
    sections = tuple(dict.fromkeys(layout.section_of[e] for e in path.elements))
    overlap = overlaps.get(path.end) if path.end_kind == "signal" else None
    if overlap is not None:
        beyond = tuple(s for s in overlap.sections if s not in sections)
        overlap = replace(overlap, sections=beyond)
    positions: dict[str, str] = {}
    for way in path.ways:
        positions.update(way.when)
    return Route(
        name=name,
        start=path.start,
        end=path.end,
        end_kind=path.end_kind,
        ways=path.ways,
        sections=sections,
        positions=tuple(positions.items()),
        overlap=overlap,
        flank=(),
        calling_on=False,
        aspect=signal.aspects[-1].name,
        approach=signal.before.element if isinstance(signal.before, Leg) else None,
        span=signal.span,
    )


def _write(
    lines: Sequence[t.RouteLine],
    walks: _Routes,
    overlaps: Mapping[str, Overlap],
    derived: Sequence[Route],
) -> dict[str, Route]:
    """The derived routes and the written ones; a written route that goes the
    way of a derived one takes its place, unless it calls on."""
    found = walks.found
    layout = walks.layout
    routes = {route.name: route for route in derived}
    derived_at = {route.ways: route.name for route in derived}
    written_at: dict[object, t.RouteLine] = {}
    for line in lines:
        path = _written_path(line, walks)
        if path is None:
            continue
        key = (path.ways, line.way.calling_on)
        if key in written_at:
            found.report(
                "E407",
                f"`{line.way}` goes the way of another route",
                line.span,
                hint="keep one of the two",
                related=[(written_at[key].span, "the other route")],
            )
            continue
        written_at[key] = line
        old = derived_at.get(path.ways)
        name = line.name.text if line.name else str(line.way)
        if line.name is None and old is not None and not line.way.calling_on:
            name = old
        if line.name is not None and name in layout.where:
            found.report(
                "E203",
                f"`{name}` is a name in the layout already and cannot also be a route",
                line.name.span,
                hint="give the route another name",
                related=[(layout.where[name], "named here")],
            )
            continue
        if name in routes and name != old:
            found.report(
                "E202",
                f"there are two routes `{name}`",
                (line.name or line.way).span,
                related=[(routes[name].span, "the other one")],
            )
            continue
        route = replace(_route(name, path, overlaps, layout), span=line.span)
        route = replace(route, aspect=_aspect(line, route, layout, found))
        if line.way.calling_on:
            route = replace(route, calling_on=True, overlap=None)
        elif old is not None:
            routes = {
                (name if key == old else key): (route if key == old else value)
                for key, value in routes.items()
            }
        routes[name] = route
    return routes


def _aspect(line: t.RouteLine, route: Route, layout: Layout, found: Collector) -> str:
    if line.shows is None:
        return route.aspect
    aspects = [a.name for a in layout.signals[route.start].aspects[1:]]
    if line.shows.text not in aspects:
        found.report(
            "E322",
            f"{route.start} cannot show `{line.shows}` for a route",
            line.shows.span,
            expected=" or ".join(aspects),
            hint=did_you_mean(line.shows.text, aspects),
        )
    return line.shows.text


def _written_path(line: t.RouteLine, walks: _Routes) -> Path | None:
    way = line.way
    layout = walks.layout
    found = walks.found
    if way.start.text not in layout.signals:
        found.report(
            "E401",
            f"no route can start at `{way.start}`: it is no signal",
            way.start.span,
            expected="a signal",
            hint=did_you_mean(way.start.text, layout.signals),
        )
        return None
    unknown = [v for v in way.via if v.text not in layout.elements]
    for word in unknown:
        found.report(
            "E201",
            f"there is no piece or fitting `{word}`",
            word.span,
            hint=did_you_mean(word.text, layout.elements),
        )
    if unknown:
        return None
    result = walks.from_signal(way.start.text)
    if walks.overrun:
        return None
    paths = [p for p in result.paths if matches(way, p.start, p.end, p.elements)]
    paths = [p for p in paths if p.end == way.end.text] or paths
    if len(paths) == 1:
        return paths[0]
    if paths:
        names = [f"{p.start} to {p.end} via {' then '.join(v)}"
                 for p, v in zip(paths, via_names(paths), strict=True)]  # fmt: skip
        found.report(
            "E402",
            f"`{way}` can go {len(paths)} ways",
            way.span,
            expected=" or ".join(names[:4]),
            hint=f"say which: `{names[0]}`",
        )
    elif not _report_written_met(way, result, walks):
        ends = list(dict.fromkeys(p.end for p in result.paths))
        beyond = _beyond_a_signal(way, walks)
        found.report(
            "E401",
            f"there is no route `{way}`"
            + (f": it would pass the signal {beyond}" if beyond else ""),
            way.span,
            expected=f"from {way.start} routes lead to {', '.join(ends) or 'nowhere'}",
            hint=f"write two routes, one to {beyond} and one from it"
            if beyond
            else did_you_mean(way.end.text, [e for e in ends if e != way.end.text]),
        )
    return None


def _report_written_met(way: t.RouteWay, result: Search, walks: _Routes) -> bool:
    """Report a route that reaches its end only by meeting itself."""
    end = way.end.text
    if not result.met or any(end in (p.end, p.elements[-1]) for p in result.paths):
        return False
    layout = walks.layout
    graph = track_graph(layout)
    graph.remove_edges_from(
        [((leg, OUT), (layout.joined[leg], IN)) for leg in walks.at if isinstance(leg, Leg)]
    )
    goals = {(leg, OUT) for leg, s in walks.at.items() if s.name == end}
    goals |= {(layout.edges[end], OUT)} if end in layout.edges else set()
    goals |= {(Leg(end, leg), OUT) for leg in ("left", "right") if Leg(end, leg) in layout.joined}
    start = (layout.signals[way.start.text].beyond, IN)
    if not goals & nx.descendants(graph, start):
        return False
    walks.found.report(
        "E403",
        f"`{way}` meets itself: it comes back to {', '.join(result.met[:4])}",
        way.span,
        hint="put a signal on the way round and make two routes of it",
    )
    return True


def _beyond_a_signal(way: t.RouteWay, walks: _Routes) -> str | None:
    """A signal at which routes from the start end, and from which the end is reached."""
    for path in walks.from_signal(way.start.text).paths:
        if path.end_kind == "signal" and any(
            way.end.text in (p.end, p.elements[-1]) for p in walks.from_signal(path.end).paths
        ):
            return path.end
    return None


def _with_flank(
    routes: dict[str, Route],
    derive: list[t.FlankDerive],
    statements: Sequence[t.Statement],
    walks: _Routes,
) -> dict[str, Route]:
    layout = walks.layout
    found = walks.found
    if derive:
        routes = {
            name: replace(route, flank=derived_flank(route.ways, layout, walks.at))
            for name, route in routes.items()
        }
    starts = by_start(routes.values())
    for line in _of(statements, t.FlankWritten):
        route = find_route(line.route, routes, starts, found, "E401")
        if route is None:
            continue
        demands: dict[str, str] = dict(routes[route.name].flank)
        for demand in line.demands:
            position = find_position(demand, layout, found)
            if position is None:
                continue
            drive, where = position
            if demands.setdefault(drive, where) != where:
                _report_both_ways(route, drive, demands[drive], where, demand, found)
        routes[route.name] = replace(routes[route.name], flank=tuple(demands.items()))
    return routes


def find_position(demand: t.Demand, layout: Layout, found: Collector) -> Position | None:
    """The drive and position that a rule names, or None with the reason reported."""
    drive = layout.drive_of.get(str(demand.drive))
    if drive is None:
        parts = [d for d in layout.drive_of if d.startswith(f"{demand.drive.element}.")]
        found.report(
            "E501",
            f"there is no drive `{demand.drive}`",
            demand.drive.span,
            expected=" or ".join(parts) if parts else "a fitting with a drive",
            hint=did_you_mean(str(demand.drive), layout.drive_of),
        )
        return None
    positions = layout.drives[drive].positions
    if demand.position.text not in positions:
        found.report(
            "E502",
            f"{demand.drive} has no position `{demand.position}`",
            demand.position.span,
            expected=" or ".join(positions),
            hint=did_you_mean(demand.position.text, positions),
        )
        return None
    return drive, demand.position.text


def _report_both_ways(
    route: Route, drive: str, one: str, other: str, demand: t.Demand, found: Collector
) -> None:
    found.report(
        "E503",
        f"{route.name} would need {drive} both {one} and {other}",
        demand.span,
        expected=f"`{drive} {one}`, or nothing",
    )


def _check_demands(route: Route, found: Collector) -> None:
    """Report a route whose way, overlap and flank need a drive in two positions."""
    needed: dict[str, tuple[str, str]] = {}
    groups = (
        ("its way", route.positions),
        ("its overlap", route.overlap_positions),
        ("its flank", route.flank),
    )
    for source, positions in groups:
        for drive, position in positions:
            first, where = needed.setdefault(drive, (source, position))
            if where != position:
                found.report(
                    "E503",
                    f"{route.name} would need {drive} both {where} for {first} "
                    f"and {position} for {source}",
                    route.overlap.span if route.overlap and "overlap" in source else route.span,
                )
