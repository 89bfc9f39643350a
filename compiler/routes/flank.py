"""Flank protection: points beside a route, set so that nothing runs into it.

Looking back from each leg of a route's fittings that the route does not use:
where a signal stands before everything that could come from there, the signal
at stop protects the flank. Where something could come without passing a
signal (a siding without one, an edge), the nearest drive that can be set away
must lie so that no way leads towards the route (common practice).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bellcrank.layout.layout_model import Edge, Layout, Leg, Position, Signal, Stop, TrackEnd, Way

SignalAt = dict[TrackEnd, Signal]


def derived_flank(
    ways: Iterable[Way], layout: Layout, signal_at: SignalAt, used: set[str]
) -> tuple[tuple[Position, ...], tuple[Leg, ...]]:
    """The drives that protect a route's flanks and where they must lie, and the
    legs of the route's fittings that no drive and no signal protects.

    used: elements that some route leads over. Nothing stands before a stop that
    no route leads to, such as a sand drag.
    """
    ways = tuple(ways)
    own = {way.element for way in ways}
    lies = {drive: position for way in ways for drive, position in way.when}
    demands: dict[str, str] = {}
    open_legs = []
    for way in ways:
        for name in layout.elements[way.element].kind.legs:
            leg = Leg(way.element, name)
            if name not in (way.entry, way.exit) and not _protect(
                layout.joined[leg], layout, signal_at, own, lies, demands, used
            ):
                open_legs.append(leg)
    return tuple(demands.items()), tuple(open_legs)


def _protect(
    end: TrackEnd,
    layout: Layout,
    signal_at: SignalAt,
    own: set[str],
    lies: dict[str, str],
    demands: dict[str, str],
    used: set[str],
) -> bool:
    """Enter the nearest drives that bar what could come out of a leg, one for each
    branch; returns whether everything is kept off.

    lies: where the route's own drives lie. demands: grows.
    """
    closed = True
    frontier = [end]
    seen: set[TrackEnd] = set()
    while frontier:
        leg = frontier.pop()
        if leg in seen or not _unguarded(leg, layout, signal_at, own):
            continue
        seen.add(leg)
        if not isinstance(leg, Leg):
            # Something can come in here, and no drive stands between.
            closed = closed and isinstance(leg, Stop) and leg.leg.element not in used
            continue
        towards = layout.ways_from(leg)
        settled = {**lies, **demands}
        if any(settled.get(d) == p for d, p in _barring(towards, layout)):
            continue
        for drive, position in _barring(towards, layout):
            if drive not in settled:
                demands[drive] = position
                break
        else:
            frontier += [layout.joined[Leg(way.element, way.exit)] for way in towards]
    return closed


def _unguarded(end: TrackEnd, layout: Layout, signal_at: SignalAt, own: set[str]) -> bool:
    """Whether something could come out of a leg without passing a signal."""
    frontier = [end]
    seen: set[TrackEnd] = set()
    while frontier:
        leg = frontier.pop()
        if leg in seen or leg in signal_at:
            continue
        seen.add(leg)
        if isinstance(leg, Edge | Stop):
            return True
        if leg.element not in own:
            frontier += [layout.joined[Leg(way.element, way.exit)] for way in layout.ways_from(leg)]
    return False


def _barring(ways: tuple[Way, ...], layout: Layout) -> Iterator[Position]:
    """Drives and positions in which none of the ways lies right."""
    for drive, _ in ways[0].when if ways else ():
        needed = {dict(way.when).get(drive) for way in ways}
        if None not in needed:
            for position in layout.drives[drive].positions:
                if position not in needed:
                    yield drive, position
