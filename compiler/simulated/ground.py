"""The track on which trains are simulated: lengths, ways, and what a driver sees.

Lengths are drawn from a seed: the layout does not tell them. A plain piece is some times as long
as a fitting, as on models.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from bellcrank.layout.layout_model import Edge, Layout, Leg, TrackEnd, Way
from bellcrank.routes.route_model import RouteTable

_PIECE = (0.9, 1.6)
_FITTING = (0.22, 0.34)
"""Metres, from and to."""


@dataclass(slots=True)
class Ground:
    """Track that does not change.

    length: of each element, in metres. signal_at: the signal that a train comes to that leaves an
    element by a leg. at_edge: the signal at an edge, read by trains that come in. stretch: track of
    one section that hangs together with no signal in it, by a number. onward: whether any route
    begins at a signal. on_drive: the elements in which a drive throws something. called: for each
    signal the aspects by which trains are called on to track that is not clear. room_of: metres
    in which a route that ends before a signal or a stop lets a train come to stand; room: the least
    of them. longest_berth: metres of the longest section.
    """

    layout: Layout
    table: RouteTable
    length: dict[str, float] = field(default_factory=dict)
    signal_at: dict[Leg, str] = field(default_factory=dict)
    at_edge: dict[str, str] = field(default_factory=dict)
    stretch: dict[str, int] = field(default_factory=dict)
    onward: set[str] = field(default_factory=set)
    on_drive: dict[str, tuple[str, ...]] = field(default_factory=dict)
    called: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    room: float = 0.0
    room_of: dict[str, float] = field(default_factory=dict)
    longest_berth: float = 0.0

    def where(self, leg: Leg) -> TrackEnd:
        """What lies beyond a leg."""
        return self.layout.joined[leg]

    def ways(self, leg: Leg) -> tuple[Way, ...]:
        """The ways from a leg into its element."""
        return self.layout.ways_from(leg)

    def stop(self, signal: str) -> str:
        return self.layout.signals[signal].aspects[0].name

    def stretch_with(self, element: str) -> tuple[str, ...]:
        """The elements of the stretch in which one lies."""
        own = self.stretch[element]
        return tuple(name for name, number in self.stretch.items() if number == own)

    def is_stretch(self, ways: Iterable[Way]) -> bool:
        """Whether ways lie in one stretch."""
        return len({self.stretch[way.element] for way in ways}) == 1

    def approach(self, edge: str) -> tuple[str, ...] | None:
        """The elements from an edge up to the first signal, of an edge without a signal of its
        own; None if the way there depends on points, or trains do not come in there."""
        if edge in self.at_edge:
            return None
        leg: TrackEnd = self.layout.edges[edge]
        found: list[str] = []
        while isinstance(leg, Leg) and leg.element not in found:
            ways = self.ways(leg)
            if len(ways) != 1 or ways[0].when:
                return None
            found.append(leg.element)
            exit_ = Leg(leg.element, ways[0].exit)
            if exit_ in self.signal_at:
                return tuple(found)
            leg = self.where(exit_)
        return None


def ground_of(layout: Layout, table: RouteTable, seed: int) -> Ground:
    """The track of a layout, with lengths drawn from a seed."""
    rng = random.Random(f"ground {seed}")
    ground = Ground(layout, table)
    for name, element in layout.elements.items():
        ground.length[name] = rng.uniform(*(_PIECE if element.plain else _FITTING))
    for name, signal in layout.signals.items():
        if isinstance(signal.before, Edge):
            ground.at_edge[signal.before.name] = name
        else:
            ground.signal_at[signal.before] = name
    for route in table.routes.values():
        ground.onward.add(route.start)
        if route.calling_on:
            ground.called[route.start].add(route.aspect)
    ground.on_drive = {name: drive.elements for name, drive in layout.drives.items()}
    _stretches(ground)
    ground.room_of = {
        r.name: _room(ground, [way.element for way in r.ways])
        for r in table.routes.values()
        if r.end_kind != "edge"
    }
    ground.room = min(ground.room_of.values(), default=1.0)
    ground.longest_berth = max(
        (sum(ground.length[e] for e in s.elements) for s in layout.sections.values()), default=1.0
    )
    return ground


def _room(ground: Ground, elements: list[str]) -> float:
    """How much of the end of a route is one stretch."""
    last = ground.stretch[elements[-1]]
    found = 0.0
    for element in reversed(elements):
        if ground.stretch[element] != last:
            break
        found += ground.length[element]
    return found


def _joints(ground: Ground) -> Iterator[tuple[Leg, Leg]]:
    for leg, end in ground.layout.joined.items():
        if isinstance(end, Leg):
            yield leg, end


def _stretches(ground: Ground) -> None:
    """Number the stretches: elements of one section joined with no signal between."""
    section_of: Mapping[str, str] = ground.layout.section_of
    group = {name: number for number, name in enumerate(ground.layout.elements)}
    members = {number: {name} for name, number in group.items()}
    for leg, other in _joints(ground):
        one, two = group[leg.element], group[other.element]
        signal = leg in ground.signal_at or other in ground.signal_at
        if one == two or signal or section_of[leg.element] != section_of[other.element]:
            continue
        members[one] |= members.pop(two)
        for name in members[one]:
            group[name] = one
    ground.stretch = group
