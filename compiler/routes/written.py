"""Routes that the layout names with `route` lines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from bellcrank.diagnostics import Collector, did_you_mean
from bellcrank.layout.declared_names import is_reserved
from bellcrank.layout.graph import IN, OUT, reach, track_graph
from bellcrank.layout.layout_model import Layout, Leg
from bellcrank.layout.signals_meant import as_signal
from bellcrank.routes.making import make_route
from bellcrank.routes.route_model import Overlap, Route
from bellcrank.routes.route_naming import matches, names_with_via
from bellcrank.routes.section_gaps import between, mended
from bellcrank.routes.track_search import Path, Search
from bellcrank.routes.walks import Walks
from bellcrank.syntax import tree as t


def write_routes(
    lines: Sequence[t.RouteLine],
    walks: Walks,
    overlaps: Mapping[str, Overlap],
    derived: Sequence[Route],
    sections: Sequence[t.SectionLine],
) -> dict[str, Route]:
    """The derived routes and the written ones; a written route that goes the
    way of a derived one takes its place, unless it calls on."""
    found = walks.found
    layout = walks.layout
    routes = {route.name: route for route in derived}
    derived_at = {route.ways: route.name for route in derived}
    renamed: dict[str, str] = {}
    written_at: dict[object, t.RouteLine] = {}
    for line in lines:
        path = _written_path(line, walks, sections)
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
        if line.name is not None and is_reserved(line.name, found):
            continue
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
        route = replace(make_route(name, path, overlaps, layout), span=line.span)
        route = replace(route, aspect=_aspect(line, route, layout, found))
        if line.way.calling_on:
            route = replace(route, calling_on=True, overlap=None)
            _check_berth(route, line, layout, found)
        elif old is not None:
            del routes[old]
            renamed[old] = name
        routes[name] = route
    in_order = [renamed.get(route.name, route.name) for route in derived]
    return {name: routes[name] for name in dict.fromkeys((*in_order, *routes))}


def _check_berth(route: Route, line: t.RouteLine, layout: Layout, found: Collector) -> None:
    """Report a fitting in the berth that a calling-on route leads into: vehicles may
    stand over it, and it must not be thrown under them."""
    for name in layout.sections[route.berth].elements:
        if not layout.elements[name].plain:
            found.report(
                "E409",
                f"{route.name} calls on into {route.berth}, which may be occupied, but "
                f"{name} lies in it and could be thrown under what stands there",
                line.way.span,
                expected="a berth of plain track alone",
                hint=f"put a piece of track of its own beyond {name}"
                if route.berth == name
                else f"leave {name} out of the section {route.berth}",
                related=[(layout.sections[route.berth].span, f"the section {route.berth}")],
            )
            return


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


def _written_path(
    line: t.RouteLine, walks: Walks, sections: Sequence[t.SectionLine]
) -> Path | None:
    way = line.way
    layout = walks.layout
    found = walks.found
    if way.start.text not in layout.signals:
        found.report(
            "E401",
            f"no route can start at `{way.start}`: it is not a signal",
            way.start.span,
            expected=f"a signal: {', '.join(sorted(layout.signals)[:8])}",
            hint=as_signal(way.start.text, layout.elements, layout.joined)
            or found.did_you_mean(way.start.text, layout.signals),
        )
        return None
    unknown = [v for v in way.via if not _stands(v, layout)]
    for passing in unknown:
        element = layout.elements.get(passing.element.text)
        found.report(
            "E201",
            f"{element.name} has no leg `{passing.leg}`"
            if element
            else f"there is no piece or fitting `{passing.element}`",
            (passing.leg or passing.element).span if element else passing.element.span,
            expected=f"a leg of it: {', '.join(element.kind.legs)}" if element else None,
            hint=did_you_mean(passing.leg.text, element.kind.legs)
            if element and passing.leg
            else found.did_you_mean(passing.element.text, layout.elements),
        )
    if unknown:
        return None
    result = walks.from_signal(way.start.text)
    if walks.overrun:
        return None
    paths = [p for p in result.paths if matches(way, p.start, p.end, p.ways)]
    paths = [p for p in paths if p.end == way.end.text] or paths
    if len(paths) == 1:
        return paths[0]
    if paths:
        names = names_with_via(paths)
        found.report(
            "E402",
            f"`{way}` can go {len(paths)} ways",
            way.span,
            expected=" or ".join(names[:4]),
            hint=f"say which: `{names[0]}`",
        )
    elif not _report_gap(way, walks, sections) and not _report_written_met(way, result, walks):
        ends = list(dict.fromkeys(p.end for p in result.paths))
        near = [p for p in result.paths if way.end.text in (p.end, p.elements[-1])]
        expected = f"from {way.start} routes lead to {', '.join(ends) or 'nowhere'}"
        if near:
            expected = " or ".join(names_with_via(near)[:4])
        beyond = _beyond_a_signal(way, walks)
        found.report(
            "E401",
            f"there is no route `{way}`"
            + (f": it would pass the signal {beyond}" if beyond else ""),
            way.span,
            expected=expected,
            hint=f"write two routes, one to {beyond} and one from it"
            if beyond
            else did_you_mean(way.end.text, [e for e in ends if e != way.end.text]),
        )
    return None


def _stands(passing: t.Passing, layout: Layout) -> bool:
    element = layout.elements.get(passing.element.text)
    return element is not None and (passing.leg is None or passing.leg.text in element.kind.legs)


def _report_gap(way: t.RouteWay, walks: Walks, sections: Sequence[t.SectionLine]) -> bool:
    """Report a route that leaves a section and comes back to it because the `section` line
    forgets a piece, at that line."""
    for gap, path in walks.gaps.get(way.start.text, ()):
        if not matches(way, path.start, path.end, path.ways):
            continue
        line = next(line for line in sections if line.name.text == gap.section)
        walks.found.report(
            "E403",
            f"{between(gap)}: so `{way}` would leave {gap.section} and come back to it",
            line.name.span,
            hint=f"write `{mended(gap, line)}`",
            related=[(way.span, "the route")],
        )
        return True
    return False


def _report_written_met(way: t.RouteWay, result: Search, walks: Walks) -> bool:
    """Report a route that reaches its end only by meeting itself."""
    end = way.end.text
    if not result.met or any(end in (p.end, p.elements[-1]) for p in result.paths):
        return False
    layout = walks.layout
    graph = track_graph(layout)
    # Not past a signal.
    graph |= {(leg, OUT): [] for leg in walks.at if isinstance(leg, Leg)}
    goals = {(leg, OUT) for leg, s in walks.at.items() if s.name == end}
    goals |= {(layout.edges[end], OUT)} if end in layout.edges else set()
    goals |= {(Leg(end, leg), OUT) for leg in ("left", "right") if Leg(end, leg) in layout.joined}
    start = (layout.signals[way.start.text].beyond, IN)
    reached = reach(graph, [start])
    if not goals & reached:
        return False
    walks.found.report(
        "E403",
        f"`{way}` meets itself: it comes back to {', '.join(result.met[:4])}",
        way.span,
        hint="put a signal on the way round and make two routes of it",
    )
    return True


def _beyond_a_signal(way: t.RouteWay, walks: Walks) -> str | None:
    """A signal at which routes from the start end, and from which the end is reached."""
    for path in walks.from_signal(way.start.text).paths:
        if path.end_kind == "signal" and any(
            way.end.text in (p.end, p.elements[-1]) for p in walks.from_signal(path.end).paths
        ):
            return path.end
    return None
