"""The track as graphs: where trains can go, and how the rails are fed.

`track_graph` has two nodes for each leg: (leg, IN) for a train that enters
its element there and (leg, OUT) for one that leaves. Edges lead through the
ways of an element and across joints, so every walk is one a train can make
without turning back.

Graphs are plain mappings from each node to its neighbours. networkx is loaded only for
track that turns trains round, as loading it takes longer than the rest of a small layout.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

from bellcrank.layout.layout_model import Edge, Element, Layout, Leg, Stop, TrackEnd

IN = "in"
OUT = "out"

Node = tuple[Leg, str]

Movements = dict[Node, list[Node]]
"""Each node with those to which a train goes on from it."""

Fed = dict[Leg, set[Leg]]
"""Each leg with those to which its rails lead on."""

_N = TypeVar("_N")


def track_graph(layout: Layout) -> Movements:
    """The directed graph of all movements over the track."""
    graph: Movements = {}
    for element in layout.elements.values():
        for name in element.kind.legs:
            leg = Leg(element.name, name)
            graph[leg, IN] = [(Leg(element.name, w.exit), OUT) for w in layout.ways_from(leg)]
            graph[leg, OUT] = []
    for leg, end in layout.joined.items():
        if isinstance(end, Leg):
            graph[leg, OUT].append((end, IN))
    return graph


def unreachable_legs(layout: Layout, graph: Movements) -> tuple[Leg, ...]:
    """Legs that no train can come to from any edge or signal, in order, not even
    by turning back anywhere."""
    starts = _starts(layout, with_edges=True)
    if not starts:
        return ()
    back = _reversed(graph)
    joined_up = {node: [*onward, *back[node]] for node, onward in graph.items()}
    for leg in layout.joined:
        joined_up[leg, IN].append((leg, OUT))
        joined_up[leg, OUT].append((leg, IN))
    reached = reach(joined_up, starts)
    return tuple(leg for leg in layout.joined if (leg, IN) not in reached)


def unsignalled_legs(layout: Layout, graph: Movements) -> tuple[Leg, ...]:
    """Legs that trains come to from edges and signals only by turning back.

    The plain track before a signal counts as come to: a train may wait there.
    """
    starts = _starts(layout, with_edges=True)
    if not starts:
        return ()
    reached = {leg for leg, _ in reach(graph, starts)} | set(_berths(layout))
    lost = {leg for leg in layout.joined if leg not in reached}
    dead_ends = {
        (leg, OUT) for leg, end in layout.joined.items() if isinstance(end, Stop) and leg in lost
    }
    # Sidings and sand drags need no signal: what only leads to a stop is left out.
    leading = {leg for leg, _ in reach(_reversed(graph), dead_ends)}
    return tuple(leg for leg in layout.joined if leg in lost - leading)


def _berths(layout: Layout) -> Iterator[Leg]:
    """Both ends of each plain piece before a signal, back to the first fitting."""
    for signal in layout.signals.values():
        end: TrackEnd = signal.before
        seen: set[str] = set()
        while isinstance(end, Leg) and end.element not in seen:
            element = layout.elements[end.element]
            if not element.plain:
                break
            seen.add(element.name)
            other = Leg(element.name, "left" if end.leg == "right" else "right")
            yield from (end, other)
            end = layout.joined[other]


def unreachable_edges(layout: Layout, graph: Movements) -> tuple[str, ...]:
    """Edges at which no train can leave past a signal nor enter towards one."""
    starts = _starts(layout, with_edges=False)
    if not starts:
        return ()
    leaving = reach(graph, starts)
    reading = {(s.before, OUT) for s in layout.signals.values() if isinstance(s.before, Leg)}
    towards = reach(_reversed(graph), reading)
    entered = {s.before.name for s in layout.signals.values() if isinstance(s.before, Edge)}
    return tuple(
        name
        for name, leg in layout.edges.items()
        if (leg, OUT) not in leaving and (leg, IN) not in towards and name not in entered
    )


def unsignalled_entries(layout: Layout) -> tuple[str, ...]:
    """Edges from which a train comes to a fitting or a stop before any signal."""
    signals = {signal.before for signal in layout.signals.values()}
    found = []
    for name, leg in layout.edges.items():
        end: TrackEnd = Edge(name)
        beyond: TrackEnd = leg
        while end not in signals and isinstance(beyond, Leg):
            if not layout.elements[beyond.element].plain:
                break
            end = Leg(beyond.element, "left" if beyond.leg == "right" else "right")
            beyond = layout.joined[end]
        # Track that only leads from edge to edge has nothing to meet.
        if end not in signals and not isinstance(beyond, Edge):
            found.append(name)
    return tuple(found)


def _starts(layout: Layout, *, with_edges: bool) -> list[Node]:
    starts: list[Node] = [(signal.beyond, IN) for signal in layout.signals.values()]
    if with_edges:
        starts += [(leg, IN) for leg in layout.edges.values()]
    return starts


def reach(graph: Mapping[_N, Iterable[_N]], starts: Iterable[_N]) -> set[_N]:
    """All nodes that are reachable from any of the starts, these included."""
    reached = set(starts)
    frontier = list(reached)
    while frontier:
        for node in graph[frontier.pop()]:
            if node not in reached:
                reached.add(node)
                frontier.append(node)
    return reached


def _reversed(graph: Movements) -> Movements:
    """The same movements, the other way."""
    back: Movements = {node: [] for node in graph}
    for node, onward in graph.items():
        for other in onward:
            back[other].append(node)
    return back


# ------------------------------------------------------------------- polarity


@dataclass(frozen=True, slots=True)
class Stretch:
    """Track between two joints where gaps may go: the stretch between them can
    then be fed through a reverser."""

    elements: tuple[str, ...]
    joints: tuple[tuple[Leg, Leg], tuple[Leg, Leg]]


@dataclass(frozen=True, slots=True)
class ReversingLoop:
    """Track on which a train comes back to where it was, turned round.

    elements: along the loop, in order.
    stretches: the plain track on it that may be made the reversing section.
    joints: all joints of the loop, in order.
    """

    elements: tuple[str, ...]
    stretches: tuple[Stretch, ...]
    joints: tuple[tuple[Leg, Leg], ...]


MOST_LOOPS = 20
"""Reversing loops that are reported; the rest comes up when these are mended."""


MOST_TRIED = 12
"""Stretches of one loop that are tried for whether they are enough alone."""


def reversing_loops(
    elements: Mapping[str, Element],
    joined: Mapping[Leg, TrackEnd],
    reversers: frozenset[str],
) -> tuple[ReversingLoop, ...]:
    """The loops of two-rail track that join left rail to right.

    Let each leg carry one bit: which rail lies on the left of a train that
    leaves by it. A way and a joint both lead from leaving by one leg to
    entering by another, so the bits at their two ends must differ. The rails
    can be fed without a short circuit exactly if the graph of legs, with an
    edge for each way and joint, has no odd cycle (two-colouring). Elements
    named in `reversers` stand between gaps: their joints do not count.
    """
    graph = _fed_through(elements, joined, reversers)
    loops: list[ReversingLoop] = []
    while len(loops) < MOST_LOOPS and (cycle := _odd_cycle(graph)) is not None:
        loop = _loop(cycle, elements)
        if not loop.joints:
            # A ring of ways inside one fitting, such as a turntable; it turns no
            # train by itself, so one of its ways is taken out of the question.
            _part(graph, [(cycle[0], cycle[1])])
            continue
        loop = replace(loop, stretches=_enough_alone(loop.stretches, graph))
        loops.append(loop)
        _part(graph, loop.stretches[0].joints if loop.stretches else loop.joints[:1])
    return tuple(loops)


def _part(graph: Fed, joints: Iterable[tuple[Leg, Leg]]) -> None:
    for one, other in joints:
        graph[one].discard(other)
        graph[other].discard(one)


def _enough_alone(stretches: tuple[Stretch, ...], graph: Fed) -> tuple[Stretch, ...]:
    """Of the stretches that could be fed apart, those that leave no loop in their
    part of the track; all of them if none does by itself."""
    if not stretches:
        return stretches
    import networkx as nx

    part = nx.Graph(graph).subgraph(reach(graph, [stretches[0].joints[0][0]]))
    enough = []
    for stretch in stretches[:MOST_TRIED]:
        rest = nx.Graph(part)
        rest.remove_edges_from(stretch.joints)
        if nx.is_bipartite(rest):
            enough.append(stretch)
    return tuple(enough) or stretches


def turning_elements(
    elements: Mapping[str, Element], joined: Mapping[Leg, TrackEnd]
) -> frozenset[str]:
    """The elements that lie on some reversing loop.

    In a part of the graph that no single leg cuts in two, all legs lie on odd
    cycles or none does (a fact of graph theory), so the parts are looked at.
    """
    import networkx as nx

    graph = nx.Graph(_fed_through(elements, joined, frozenset()))
    turning: set[str] = set()
    for legs in nx.biconnected_components(graph):
        if not nx.is_bipartite(graph.subgraph(legs)):
            turning.update(leg.element for leg in legs)
    return frozenset(turning)


def _fed_through(
    elements: Mapping[str, Element],
    joined: Mapping[Leg, TrackEnd],
    reversers: frozenset[str],
) -> Fed:
    """The legs, with an edge for each way and for each joint without gaps."""
    graph: defaultdict[Leg, set[Leg]] = defaultdict(set)
    for element in elements.values():
        for way in element.kind.ways:
            one, other = (Leg(element.name, leg) for leg in way.legs)
            graph[one].add(other)
            graph[other].add(one)
    for leg, end in joined.items():
        if isinstance(end, Leg) and _feeds_through(leg, end, reversers):
            graph[leg].add(end)
            graph[end].add(leg)
    return dict(graph)


def _feeds_through(leg: Leg, end: Leg, reversers: frozenset[str]) -> bool:
    return (leg.element in reversers) == (end.element in reversers)


def _odd_cycle(graph: Fed) -> list[Leg] | None:
    """A short cycle of odd length, from a breadth-first two-colouring, or None."""
    colour: dict[Leg, int] = {}
    parent: dict[Leg, Leg | None] = {}
    best: list[Leg] | None = None
    for root in sorted(graph):
        if root in colour:
            continue
        colour[root], parent[root] = 0, None
        queue = [root]
        for leg in queue:
            for other in sorted(graph[leg]):
                if other not in colour:
                    colour[other], parent[other] = 1 - colour[leg], leg
                    queue.append(other)
                elif colour[other] == colour[leg]:
                    cycle = _close(leg, other, parent)
                    if best is None or len(cycle) < len(best):
                        best = cycle
    return best


def _close(first: Leg, second: Leg, parent: dict[Leg, Leg | None]) -> list[Leg]:
    """The cycle that the edge between two legs closes in a search tree."""
    up = list(_ancestors(first, parent))
    at = {leg: index for index, leg in enumerate(up)}
    down: list[Leg] = []
    for leg in _ancestors(second, parent):
        if leg in at:
            return [*up[: at[leg] + 1], *reversed(down)]
        down.append(leg)
    raise AssertionError("both legs stand in one tree")


def _ancestors(leg: Leg, parent: dict[Leg, Leg | None]) -> Iterator[Leg]:
    above: Leg | None = leg
    while above is not None:
        yield above
        above = parent[above]


def _loop(cycle: list[Leg], elements: Mapping[str, Element]) -> ReversingLoop:
    steps = list(zip(cycle, cycle[1:] + cycle[:1], strict=True))
    joints = [(a, b) for a, b in steps if a.element != b.element]
    order = [b.element for _, b in joints]
    fitting_at = [i for i, (_, b) in enumerate(joints) if not elements[b.element].plain]
    stretches = []
    for i, start in enumerate(fitting_at):
        # From the joint that leaves one fitting to the joint that enters the next.
        stop = fitting_at[(i + 1) % len(fitting_at)]
        count = (stop - start) % len(joints) or len(joints)
        between = [joints[(start + k) % len(joints)] for k in range(1, count + 1)]
        pieces = tuple(b.element for _, b in between[:-1])
        if pieces:
            stretches.append(Stretch(pieces, (between[0], between[-1])))
    stretches.sort(key=lambda s: (-len(s.elements), s.elements))
    return ReversingLoop(tuple(dict.fromkeys(order)), tuple(stretches), tuple(joints))
