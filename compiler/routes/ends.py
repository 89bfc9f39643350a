"""Where routes leave their trains, and whether a signal lets them out again the way they came.

A train turns back only before a signal that it can then obey. Where none stands, nothing
keeps a train from coming back except that nobody drives it: that is assumed, and said.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass

from bellcrank.diagnostics import Collector
from bellcrank.layout.layout_model import Edge, Layout, Leg, Signal, TrackEnd, Way
from bellcrank.routes.route_model import Route
from bellcrank.routes.track_search import signals_by_joint


@dataclass(frozen=True, slots=True)
class Standing:
    """A place where a route leaves its train.

    piece: the last piece or fitting of the route. behind: the leg by which a train comes
    into the stretch on which it then stands whole, and would leave it to come back.
    """

    piece: str
    behind: Leg
    route: Route


def no_way_back(layout: Layout, routes: Iterable[Route]) -> tuple[Standing, ...]:
    """The places where routes leave trains that no signal lets out the way they came, each
    with the first route that ends there."""
    signals = signals_by_joint(layout)
    found: dict[tuple[str, Leg], Standing] = {}
    for route in routes:
        behind = left_behind(route.ways, layout, signals)
        if behind not in signals:
            piece = route.ways[-1].element
            found.setdefault((piece, behind), Standing(piece, behind, route))
    return tuple(found.values())


def left_behind(ways: Sequence[Way], layout: Layout, signals: Mapping[TrackEnd, Signal]) -> Leg:
    """Where the last stretch of one section without a signal in it begins, on the way of a
    route: by this leg its train would come back."""
    last = ways[-1]
    for way in reversed(ways[:-1]):
        exit_, entry = Leg(way.element, way.exit), Leg(last.element, last.entry)
        other = layout.section_of[way.element] != layout.section_of[last.element]
        if other or exit_ in signals or entry in signals:
            break
        last = way
    return Leg(last.element, last.entry)


def warn_of_no_way_back(
    layout: Layout, routes: Mapping[str, Route], found: Collector, explained: Container[Leg] = ()
) -> None:
    """Warn of roads that trains are let into and that no signal lets them out of, on or back.

    explained: legs at which a signal would let them out if it were not turned round.
    """
    starts = {route.start for route in routes.values()}
    for place in no_way_back(layout, routes.values()):
        route = place.route
        if route.end_kind == "edge" or (route.end_kind == "signal" and route.end in starts):
            continue
        if place.behind in explained:
            continue
        found.report(
            "W814",
            f"a train that {route.name} leads into {place.piece} can never leave it: no signal "
            "lets it out, and that it does not come back is assumed",
            layout.where.get(place.piece, route.span),
            hint=signal_out(layout, place.behind),
        )


def signal_out(layout: Layout, behind: Leg) -> str:
    """Which signal would let a train out by a leg."""
    outside = layout.joined[behind]
    before = outside.element if isinstance(outside, Leg) else str(outside)
    if isinstance(outside, Leg) and not layout.elements[outside.element].plain:
        before = str(outside)
    if isinstance(outside, Edge):
        before = f"edge {outside.name}"
    name = f"S_{behind.element}"
    if layout.elements[behind.element].plain:
        if behind.leg == "left":
            return f"write `{before} - <{name} - {behind.element}`, with a name of your own"
        return f"write `{behind.element} - >{name} - {before}`, with a name of your own"
    return f"put a signal between {before} and {behind}, read by trains that leave {behind.element}"
