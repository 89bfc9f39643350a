"""Which routes the buttons and lamps of the panel are for.

Two buttons at places ask for the route from the first to the second. Where several lead from
the one to the other, that is the first in the table which does not call on.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence

from bellcrank.diagnostics import Collector
from bellcrank.layout.detectors import NamedInput
from bellcrank.layout.layout_model import Layout, Leg, Stop
from bellcrank.routes.panel_model import (
    Button,
    CancelButton,
    Panel,
    PlaceButton,
    PlaceKind,
    RouteButton,
    RouteLamp,
)
from bellcrank.routes.route_model import Route
from bellcrank.routes.route_naming import by_start, find_route
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import Program

NO_ROUTE = "E468"


def build_panel(
    program: Program, layout: Layout, routes: Mapping[str, Route], found: Collector
) -> Panel:
    """The buttons and lamps, each with the route or place that it is for."""
    starts = by_start(routes.values())
    wires = layout.panel_wires
    buttons: list[Button] = []
    for line in program.of(t.ButtonLine):
        button = _button(line, layout, routes, starts, found)
        if button is not None:
            buttons.append(button)
    lamps = []
    for lamp in program.of(t.LampLine):
        route = _shown(lamp, layout, routes, starts, found)
        if route is not None and lamp.span in wires.lamps:
            lamps.append(RouteLamp(route.name, *wires.lamps[lamp.span], lamp.span))
    return Panel(tuple(buttons), tuple(lamps), _asked(buttons, routes, found))


def _shown(
    lamp: t.LampLine,
    layout: Layout,
    routes: Mapping[str, Route],
    starts: Mapping[str, Sequence[Route]],
    found: Collector,
) -> Route | None:
    """The route that a lamp shows."""
    what = lamp.route
    if isinstance(what, t.RouteByName) and what.name.text in layout.signals:
        near = starts.get(what.name.text, ())
        found.report(
            NO_ROUTE,
            f"{what} is a signal, and a lamp shows one route",
            what.span,
            expected="a route, such as " + " or ".join(r.name for r in near[:4]) if near else None,
            hint=f"write `lamp {near[0].name} = {lamp.output} {lamp.side}`" if near else None,
        )
        return None
    return find_route(what, routes, starts, found, NO_ROUTE)


def _button(
    line: t.ButtonLine,
    layout: Layout,
    routes: Mapping[str, Route],
    starts: Mapping[str, Sequence[Route]],
    found: Collector,
) -> Button | None:
    # One without a sound input has been reported, and counts as a button all the same.
    input_ = layout.panel_wires.buttons.get(line.span) or NamedInput(str(line.inlet))
    what = line.what
    if isinstance(what, t.RouteWay) or what.name.text in routes:
        route = find_route(what, routes, starts, found, NO_ROUTE)
        return None if route is None else RouteButton(route.name, line.cancels, input_, line.span)
    name = what.name.text
    kind = place_kind(name, layout)
    if kind is None:
        _report_no_place(line, what, layout, routes, found)
        return None
    if not line.cancels:
        return PlaceButton(name, kind, input_, line.span)
    if kind != "signal":
        found.report(
            "E469",
            f"no route begins at {name}, so there is none to cancel from there",
            what.span,
            expected="the signal at which routes begin, or one route",
        )
        return None
    if name not in starts:
        found.report(
            "W847",
            f"no route begins at {name}, so this button cancels nothing",
            what.span,
            hint="name a signal at which routes begin",
        )
    return CancelButton(name, input_, line.span)


def place_kind(name: str, layout: Layout) -> PlaceKind | None:
    """What sort of place a name is at which routes may begin or end; None if it is none."""
    if name in layout.signals:
        return "signal"
    if name in layout.edges:
        return "edge"
    element = layout.elements.get(name)
    if element is None:
        return None
    ends = [layout.joined.get(Leg(name, leg)) for leg in element.kind.legs]
    return "stop" if any(isinstance(end, Stop) for end in ends) else None


def _report_no_place(
    line: t.ButtonLine,
    what: t.RouteByName,
    layout: Layout,
    routes: Mapping[str, Route],
    found: Collector,
) -> None:
    name = what.name.text
    ends = list(dict.fromkeys(r.end for r in routes.values() if r.elements[-1] == name))
    stops = [n for n in layout.elements if place_kind(n, layout) == "stop"]
    places = [*routes, *layout.signals, *layout.edges, *stops]
    cancels = "to cancel " if line.cancels else ""
    stands = name in layout.where
    found.report(
        "E469",
        f"no button can stand at {name}: it is not a signal, an edge or a piece before a stop"
        if stands
        else f"there is no route, signal, edge or stop `{name}`",
        what.span,
        expected="a route, such as `H to T1`, or the signal, edge or stop where one begins or ends",
        hint=f"write `button {cancels}{ends[0]} = {line.inlet}`: there routes over {name} end"
        if len(ends) == 1
        else None
        if stands
        else found.did_you_mean(name, places),
    )


def _asked(
    buttons: Sequence[Button], routes: Mapping[str, Route], found: Collector
) -> dict[tuple[str, str], str]:
    """The route that each two buttons at places ask for; warns of buttons that ask for none, and
    of routes that no button asks for although their places have one each."""
    at = {b.place: b for b in buttons if isinstance(b, PlaceButton)}
    if not at:
        return {}
    between: dict[tuple[str, str], list[Route]] = defaultdict(list)
    for route in routes.values():
        if route.start in at and route.end in at and not route.calling_on:
            between[route.start, route.end].append(route)
    used = {place for pair in between for place in pair}
    for place, button in at.items():
        if place in used:
            continue
        starts = [r.end for r in routes.values() if r.start == place]
        ends = [r.start for r in routes.values() if r.end == place]
        near = next(iter(starts + ends), None)
        found.report(
            "W848",
            f"no route leads from or to {place}, so its button asks for nothing"
            if near is None
            else f"the button at {place} asks for nothing: no place that a route joins to it has "
            "a button",
            button.span,
            hint=f"add `button {near} = …`" if near else "leave the button out",
        )
    own = {b.route for b in buttons if isinstance(b, RouteButton) and not b.cancels}
    for (start, end), some in between.items():
        for other in some[1:]:
            if other.name not in own:
                found.report(
                    "W849",
                    f"the buttons {start} and {end} ask for {some[0].name}, and no button asks "
                    f"for {other.name}",
                    at[start].span,
                    hint=f"add `button {other.name} = …`",
                )
    return {pair: some[0].name for pair, some in between.items()}
