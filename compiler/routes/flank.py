"""Flank protection: points beside a route, set so that nothing runs into it.

Looking back from each leg of a route's fittings that the route does not use:
where a signal stands before everything that could come from there, the signal
at stop protects the flank. Where something could come without passing a
signal (a siding without one, an edge), the nearest drive that can be set away
must lie so that no way leads towards the route (common practice).
"""

from __future__ import annotations

from collections.abc import Iterable

from bellcrank.layout.model import Edge, Layout, Leg, Position, Signal, Stop, TrackEnd, Way

SignalAt = dict[TrackEnd, Signal]


def derived_flank(ways: Iterable[Way], layout: Layout, signal_at: SignalAt) -> tuple[Position, ...]:
    """The drives that protect a route's flanks, and where they must lie."""
    ways = tuple(ways)
    own_elements = {way.element for way in ways}
    own_drives = {drive for way in ways for drive, _ in way.when}
    demands: dict[str, str] = {}
    for way in ways:
        for name in layout.elements[way.element].kind.legs:
            if name not in (way.entry, way.exit):
                end = layout.joined[Leg(way.element, name)]
                for drive, position in _protect(end, layout, signal_at, own_elements):
                    if drive not in own_drives:
                        demands.setdefault(drive, position)
    return tuple(demands.items())


def _protect(end: TrackEnd, layout: Layout, signal_at: SignalAt, own: set[str]) -> list[Position]:
    """The nearest drives that bar what could come out of a leg, one for each branch."""
    demands: list[Position] = []
    frontier = [end]
    seen: set[TrackEnd] = set()
    while frontier:
        leg = frontier.pop()
        if leg in seen or not _unguarded(leg, layout, signal_at, own):
            continue
        seen.add(leg)
        if not isinstance(leg, Leg):
            continue  # something can come in here, and no drive stands between
        towards = layout.ways_from(leg)
        barred = _barring_position(towards, layout)
        if barred is not None:
            demands.append(barred)
        else:
            frontier += [layout.joined[Leg(way.element, way.exit)] for way in towards]
    return demands


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


def _barring_position(ways: tuple[Way, ...], layout: Layout) -> Position | None:
    """A drive's position in which none of the ways lies right, or None."""
    if not ways:
        return None
    for drive, _ in ways[0].when:
        needed = {dict(way.when).get(drive) for way in ways}
        if None in needed:
            continue
        for position in layout.drives[drive].positions:
            if position not in needed:
                return drive, position
    return None
