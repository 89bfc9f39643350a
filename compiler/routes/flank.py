"""Flank protection: points beside a route, set so that nothing runs into it.

Looking back from each leg of a route's fittings that the route does not use,
the first thing that can keep a stray vehicle away gives the protection: a
signal read towards the route, or a drive with a position in which no way
leads towards it (common practice).
"""

from __future__ import annotations

from collections.abc import Iterable

from bellcrank.layout.model import Layout, Leg, Position, Signal, TrackEnd, Way


def derived_flank(
    ways: Iterable[Way], layout: Layout, signal_at: dict[TrackEnd, Signal]
) -> tuple[Position, ...]:
    """The drives that protect a route's flanks, and where they must lie."""
    ways = tuple(ways)
    own_elements = {way.element for way in ways}
    own_drives = {drive for way in ways for drive, _ in way.when}
    demands: dict[str, str] = {}
    for way in ways:
        for name in layout.elements[way.element].kind.legs:
            if name not in (way.entry, way.exit):
                for drive, position in _protect(
                    layout.joined[Leg(way.element, name)], layout, signal_at, own_elements
                ):
                    if drive not in own_drives:
                        demands.setdefault(drive, position)
    return tuple(demands.items())


def _protect(
    end: TrackEnd, layout: Layout, signal_at: dict[TrackEnd, Signal], own: set[str]
) -> list[Position]:
    demands: list[Position] = []
    frontier = [end]
    seen: set[TrackEnd] = set()
    while frontier:
        leg = frontier.pop()
        if not isinstance(leg, Leg) or leg in seen or leg in signal_at or leg.element in own:
            continue
        seen.add(leg)
        # The ways by which something could come out of this leg.
        towards = layout.ways_from(leg)
        barred = _barring_position(towards, layout)
        if barred is not None:
            demands.append(barred)
        else:
            frontier += [layout.joined[Leg(way.element, way.exit)] for way in towards]
    return demands


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
