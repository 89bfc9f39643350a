"""Every way from a signal to the next in the same direction.

A depth-first walk over the legs of the track, bounded: a layout with too many
ways gets an error, never an endless run.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from bellcrank.layout.layout_model import Edge, Layout, Leg, Signal, TrackEnd, Way
from bellcrank.routes.route_model import EndKind

MOST_STEPS = 200_000
"""Steps of the walk from one signal; far beyond any station with signals in it."""

LONGEST = 500
"""Pieces and fittings on one way: how far a train has come is told for each."""


@dataclass(frozen=True, slots=True)
class Path:
    """A way found, before it has a name."""

    start: str
    end: str
    end_kind: EndKind
    ways: tuple[Way, ...]

    @property
    def elements(self) -> tuple[str, ...]:
        return tuple(way.element for way in self.ways)

    @property
    def passes(self) -> tuple[str, ...]:
        """What a `via` may name, in order: each element and the legs it is passed by."""
        return passes(self.ways)


def passes(ways: Iterable[Way]) -> tuple[str, ...]:
    """Each element of a way between the legs by which it is entered and left."""
    return tuple(
        name
        for way in ways
        for name in (f"{way.element}.{way.entry}", way.element, f"{way.element}.{way.exit}")
    )


@dataclass(slots=True)
class Search:
    """What a walk from one signal found.

    met: elements at which a way came back to itself before any signal.
    barred: drives of coupled points that keep trains from going somewhere,
        and where that is.
    overrun: whether the walk was cut short by a bound.
    """

    paths: list[Path] = field(default_factory=list)
    met: list[str] = field(default_factory=list)
    barred: dict[str, str] = field(default_factory=dict)
    overrun: bool = False


def signals_by_joint(layout: Layout) -> dict[TrackEnd, Signal]:
    """The signal read by trains that leave by each leg or come in at an edge."""
    return {signal.before: signal for signal in layout.signals.values()}


def search(layout: Layout, start: Signal, at: dict[TrackEnd, Signal], most_paths: int) -> Search:
    """All ways from a signal on which no element is passed twice."""
    result = Search()
    path: list[Way] = []
    on_path: set[str] = set()
    # Each entry is a way to take next and how long the path is before it.
    stack = [(way, 0) for way in reversed(layout.ways_from(start.beyond))]
    steps = 0
    while stack:
        steps += 1
        if steps > MOST_STEPS or len(result.paths) > most_paths:
            result.overrun = True
            break
        way, depth = stack.pop()
        while len(path) > depth:
            on_path.discard(path.pop().element)
        path.append(way)
        on_path.add(way.element)
        if len(path) > LONGEST:
            result.overrun = True
            break
        leg = Leg(way.element, way.exit)
        beyond = layout.joined[leg]
        signal = at.get(leg)
        if signal is not None:
            result.paths.append(Path(start.name, signal.name, "signal", tuple(path)))
        elif isinstance(beyond, Edge):
            result.paths.append(Path(start.name, beyond.name, "edge", tuple(path)))
        elif not isinstance(beyond, Leg):
            result.paths.append(Path(start.name, way.element, "stop", tuple(path)))
        elif beyond.element in on_path:
            if beyond.element not in result.met:
                result.met.append(beyond.element)
        else:
            stack += [(way, depth + 1) for way in reversed(layout.ways_from(beyond))]
    result.overrun = result.overrun or len(result.paths) > most_paths
    return result


def comes_back(path: Path, layout: Layout) -> str | None:
    """A section that a path leaves and enters again, or None."""
    seen: set[str] = set()
    previous = ""
    for way in path.ways:
        section = layout.section_of[way.element]
        if section != previous and section in seen:
            return section
        seen.add(section)
        previous = section
    return None
