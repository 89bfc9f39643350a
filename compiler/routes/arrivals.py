"""How trains come to signals: from an edge, by a route, or turned back where one ends.

Trains that come in past no signal, and signals to which no train comes, are mostly a slip of
the pen: a signal that was forgotten or turned round, a `route` line that is missing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from bellcrank.layout.layout_model import Edge, Layout, Leg, Signal, TrackEnd
from bellcrank.routes.ends import left_behind
from bellcrank.routes.route_model import Route
from bellcrank.routes.track_search import signals_by_joint


@dataclass(frozen=True, slots=True)
class Arrivals:
    """The signals that trains come to.

    forwards: those that trains run up to, by a route or from an edge.
    back: those that let trains out again where a route, or a train from an edge, has come in.
    led_to: for each signal those from which a route leads a train to it, either way.
    from_edges: those that trains come to from an edge before any points.
    """

    forwards: frozenset[str]
    back: frozenset[str]
    led_to: Mapping[str, tuple[str, ...]]
    from_edges: frozenset[str]

    def __contains__(self, signal: str) -> bool:
        return signal in self.forwards or signal in self.back


def find_arrivals(layout: Layout, routes: Iterable[Route]) -> Arrivals:
    """How trains come to each signal, from edges and by routes."""
    at = signals_by_joint(layout)
    forwards: set[str] = set()
    back: set[str] = set()
    for edge in layout.edges:
        first = first_from_edge(edge, layout, at)
        if first is not None:
            forwards.add(first.signal)
            back |= first.passed
    from_edges = frozenset(forwards | back)
    led_to: dict[str, dict[str, None]] = {}
    for route in routes:
        if route.end_kind == "signal":
            forwards.add(route.end)
            led_to.setdefault(route.end, {})[route.start] = None
        signal = at.get(left_behind(route.ways, layout, at))
        if signal is not None:
            back.add(signal.name)
            led_to.setdefault(signal.name, {})[route.start] = None
    leading = {name: tuple(starts) for name, starts in led_to.items()}
    return Arrivals(frozenset(forwards), frozenset(back), leading, from_edges)


@dataclass(frozen=True, slots=True)
class First:
    """The first signal that trains meet from an edge.

    entered: the legs by which they enter track on the way there. passed: the signals that
    they pass and could turn back to obey.
    """

    signal: str
    entered: tuple[Leg, ...]
    passed: frozenset[str]


def first_from_edge(edge: str, layout: Layout, at: Mapping[TrackEnd, Signal]) -> First | None:
    """The first signal that trains meet from an edge, if they do before any points."""
    if Edge(edge) in at:
        return First(at[Edge(edge)].name, (), frozenset())
    passed: set[str] = set()
    entered: list[Leg] = []
    leg: TrackEnd = layout.edges[edge]
    while isinstance(leg, Leg) and leg not in entered:
        entered.append(leg)
        if leg in at:
            passed.add(at[leg].name)
        ways = layout.ways_from(leg)
        if len(ways) != 1 or ways[0].lies_right:
            break
        out = Leg(leg.element, ways[0].exit)
        if out in at:
            return First(at[out].name, tuple(entered), frozenset(passed))
        leg = layout.joined[out]
    return None


def stretch_from_edge(edge: str, layout: Layout) -> tuple[Leg, ...]:
    """The legs by which trains from an edge enter plain pieces, one after the other, and last
    that by which they enter something else, if there is any."""
    entered: list[Leg] = []
    leg: TrackEnd = layout.edges[edge]
    while isinstance(leg, Leg) and leg not in entered:
        entered.append(leg)
        if not layout.elements[leg.element].plain:
            break
        leg = layout.joined[Leg(leg.element, "left" if leg.leg == "right" else "right")]
    return tuple(entered)


def met_and_passed(edge: str, layout: Layout) -> tuple[list[str], list[str]]:
    """The signals that trains from an edge would meet first, whatever points they pass, and
    those that they would pass that are read the other way."""
    at = signals_by_joint(layout)
    met: dict[str, None] = {}
    passed: dict[str, None] = {}
    seen: set[Leg] = set()
    ahead: list[TrackEnd] = [layout.edges[edge]]
    while ahead:
        leg = ahead.pop()
        if not isinstance(leg, Leg) or leg in seen:
            continue
        seen.add(leg)
        if leg in at:
            passed[at[leg].name] = None
        for way in layout.ways_from(leg):
            out = Leg(way.element, way.exit)
            if out in at:
                met[at[out].name] = None
            else:
                ahead.append(layout.joined[out])
    in_order = list(layout.signals)
    return sorted(met, key=in_order.index), sorted(passed, key=in_order.index)


def stretch_before(signal: Signal, layout: Layout, at: Mapping[TrackEnd, Signal]) -> Leg | None:
    """The leg by which trains come into the track before a signal, within its section and up
    to another signal, if it leads over no points: there a train may be put down by hand."""
    leg: TrackEnd = signal.before
    entered: Leg | None = None
    section = None
    seen: set[TrackEnd] = set()
    while isinstance(leg, Leg) and leg not in seen:
        seen.add(leg)
        here = layout.section_of[leg.element]
        if section is None:
            section = here
        elif here != section:
            break
        back = [way for way in layout.ways_from(leg) if not way.lies_right]
        if not back:
            return None
        entered = Leg(leg.element, back[0].exit)
        leg = layout.joined[entered]
        if entered in at or leg in at:
            break
    return entered


def may_be_put_down(signal: Signal, layout: Layout, at: Mapping[TrackEnd, Signal]) -> bool:
    """Whether a train may be put down before a signal by hand."""
    return stretch_before(signal, layout, at) is not None


def out_of_reach(layout: Layout, routes: Iterable[Route], found: Arrivals) -> tuple[str, ...]:
    """The signals that no train comes to and none can be put down before: first those to
    which no route leads, then one of each ring of others."""
    at = signals_by_joint(layout)
    onward: dict[str, list[str]] = {}
    for name, starts in found.led_to.items():
        for start in starts:
            onward.setdefault(start, []).append(name)
    reached: set[str] = set()

    def reach(names: Iterable[str]) -> None:
        ahead = [name for name in names if name not in reached]
        while ahead:
            name = ahead.pop()
            if name not in reached:
                reached.add(name)
                ahead += onward.get(name, ())

    reach(found.from_edges)
    reach(s.name for s in layout.signals.values() if may_be_put_down(s, layout, at))
    never = [name for name in layout.signals if name not in reached]
    leading = {route.start for route in routes}
    sources: list[str] = []
    for name in sorted(never, key=lambda name: name in found):
        if name not in reached and name in leading:
            sources.append(name)
            reach([name])
    return tuple(sources)
