"""Whether every frog lies right for every route over it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from bellcrank.diagnostics import Collector
from bellcrank.layout.frog_model import Frog
from bellcrank.layout.frogs import deciding_drive, needs_of
from bellcrank.layout.layout_model import (
    Drive,
    Edge,
    FittingKind,
    Layout,
    Leg,
    Position,
    TrackEnd,
    Way,
    Work,
)
from bellcrank.routes.route_model import Route
from bellcrank.routes.sentences import listed
from bellcrank.routes.track_search import signals_by_joint


@dataclass(frozen=True, slots=True)
class FrogPassed:
    """A frog on the way of a route. needs: the leg from whose rail it must take its polarity;
    lies: that from which it does, with the drives as the route needs them; None if nobody
    can tell."""

    frog: Frog
    way: Way
    needs: str
    lies: str | None


def frogs_passed(routes: Iterable[Route], layout: Layout) -> Iterator[tuple[Route, FrogPassed]]:
    """Routes with the frogs that they pass and that a contact or an output feeds. Others lie
    right whatever the drives do, or are dead, or nothing is said of them."""
    by_element: dict[str, list[Frog]] = {}
    for frog in layout.frogs.values():
        if frog.feed in ("contact", "output") and not frog.alike:
            by_element.setdefault(frog.part.element, []).append(frog)
    if not by_element:
        return
    for route in routes:
        demands = route.demands
        for passed in _passed(route, demands, by_element, layout):
            yield route, passed


def _passed(
    route: Route,
    demands: Mapping[str, str],
    by_element: Mapping[str, Iterable[Frog]],
    layout: Layout,
) -> Iterator[FrogPassed]:
    for way in route.ways:
        for frog in by_element.get(way.element, ()):
            needs = frog.kind.leg_of((way.entry, way.exit))
            if needs is not None:
                yield FrogPassed(frog, way, needs, _lies(frog, demands, layout))


def _lies(frog: Frog, lies: Mapping[str, str], layout: Layout) -> str | None:
    if frog.drive is None:
        return None
    if frog.feed == "output":
        return lies.get(frog.drive)
    decides = deciding_drive(layout.elements[frog.part.element].kind, frog.kind)
    assert decides is not None
    return decides[1].get(lies.get(frog.drive, ""))


def check_frogs(routes: Iterable[Route], layout: Layout, found: Collector) -> None:
    """Report frogs that the contact of a drive cannot serve, with the routes over which they
    would lie wrongly, and any other that lies wrongly for a route."""
    wrong: dict[Frog, dict[str, list[Route]]] = {
        frog: {}
        for frog in layout.frogs.values()
        if frog.feed == "contact" and frog.drive is None and not frog.alike
    }
    for route, passed in frogs_passed(routes, layout):
        if passed.lies != passed.needs:
            wrong.setdefault(passed.frog, {}).setdefault(passed.needs, []).append(route)
    for frog, by_leg in wrong.items():
        _report_contact(frog, by_leg, layout, found)
    unswitched: dict[str, list[str]] = {}
    for edge in layout.edges if layout.switched else ():
        drive = _come_to_first(edge, layout)
        if drive is not None:
            unswitched.setdefault(drive, []).append(edge)
    for drive, edges in unswitched.items():
        _report_approach(layout.drives[drive], edges, found)


def _report_contact(
    frog: Frog, by_leg: Mapping[str, Sequence[Route]], layout: Layout, found: Collector
) -> None:
    """by_leg: for each leg the routes over the frog that need the polarity of its rail."""
    one, other = frog.kind.between
    kind = layout.elements[frog.part.element].kind
    shared = _needed_both_ways(kind, frog)
    both = [(layout.drive_of[Work(frog.part.element, d)], p) for d, p in shared or ()]
    lies = ", ".join(f"{drive} {position}" for drive, position in both)
    why = (
        f"{f'with {lies}' if lies else 'at all times'} it needs the polarity of {one} for one road "
        f"and that of {other} for another"
    )
    if shared is None:
        why = (
            f"it takes several drives to tell whether it needs the polarity of {one} or that of "
            f"{other}"
        )
    meant = {
        leg: next((r for r in routes if r.demands.items() >= dict(both).items()), routes[0])
        for leg, routes in sorted(by_leg.items())
    }
    told = " and ".join(f"{route.name} needs that of {leg}" for leg, route in meant.items())
    found.report(
        "E621",
        f"a contact of the drive cannot serve the frog {frog.part}: {why}"
        + (f"; {told}" if told else ""),
        frog.span,
        expected=f"an output that routes switch{_such_as(frog, layout)}",
        hint=f"or `frog {frog.part} by reverser`, or `dead` if every engine gets across without it",
    )


def _such_as(frog: Frog, layout: Layout) -> str:
    """The line that puts a frog on the next free output of a kind, if there is one."""
    kinds = (decoder.kind for decoder in layout.hardware.decoders.values())
    kind = next((kind.name for kind in kinds if kind.packets == "basic"), None)
    return f", such as `frog {frog.part} = {kind}`" if kind else " of a decoder"


def _needed_both_ways(kind: FittingKind, frog: Frog) -> tuple[Position, ...] | None:
    """Where drives lie for two ways at once over a frog that need different polarities; None if
    there are no such two: then it takes several drives to tell."""
    for one, other in combinations(needs_of(kind, frog.kind), 2):
        both = dict(one.way.when) | dict(other.way.when)
        if one.leg != other.leg and all(
            both[d] == p for way in (one.way, other.way) for d, p in way.when
        ):
            return tuple(both.items())
    return None


def _come_to_first(edge: str, layout: Layout) -> str | None:
    """The frog on an output that trains from an edge come to before the first signal: no route
    switches it for them."""
    signals = signals_by_joint(layout)
    end: TrackEnd = layout.edges[edge]
    seen: set[Leg] = set()
    if Edge(edge) in signals:
        return None
    while isinstance(end, Leg) and end not in seen:
        seen.add(end)
        ways = layout.ways_from(end)
        if len(ways) != 1 or ways[0].when:
            return None
        if ways[0].frogs:
            return ways[0].frogs[0][0]
        out = Leg(end.element, ways[0].exit)
        if out in signals:
            return None
        end = layout.joined[out]
    return None


def _report_approach(drive: Drive, edges: Sequence[str], found: Collector) -> None:
    assert drive.frog is not None
    word = "edge" if len(edges) == 1 else "edges"
    found.report(
        "E622",
        f"trains from the {word} {listed(edges)} come to the {drive.name} before any signal, and "
        "no route switches it for them",
        drive.span,
        hint=f"put a signal before {drive.frog.element}, or write `frog {drive.frog} by reverser`",
    )
