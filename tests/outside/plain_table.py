"""Track as a plain table, and routes and conflicts found from it by other means.

Written from what a person sees on a track plan, apart from the compiler:
nothing of it is imported here. Routes come from networkx simple paths over a
graph made from the table; conflicts from the words of the trade.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import networkx as nx

Lies = dict[str, str]
"""Where drives lie, or must lie."""

KINDS: dict[str, tuple[dict[str, tuple[str, ...]], list[tuple[str, str, Lies]]]] = {
    "points": (
        {"": ("straight", "diverging")},
        [("toe", "straight", {"": "straight"}), ("toe", "diverging", {"": "diverging"})],
    ),
    "three way points": (
        {"to_left": ("straight", "diverging"), "to_right": ("straight", "diverging")},
        [
            ("toe", "left", {"to_left": "diverging", "to_right": "straight"}),
            ("toe", "straight", {"to_left": "straight", "to_right": "straight"}),
            ("toe", "right", {"to_left": "straight", "to_right": "diverging"}),
        ],
    ),
    "double slip with one drive": (
        {"": ("straight", "diverging")},
        [
            ("a1", "a2", {"": "straight"}),
            ("b1", "b2", {"": "straight"}),
            ("a1", "b2", {"": "diverging"}),
            ("b1", "a2", {"": "diverging"}),
        ],
    ),
    "double slip with two drives": (
        {"end1": ("a2", "b2"), "end2": ("a1", "b1")},
        [
            ("a1", "a2", {"end1": "a2", "end2": "a1"}),
            ("b1", "b2", {"end1": "b2", "end2": "b1"}),
            ("a1", "b2", {"end1": "b2", "end2": "a1"}),
            ("b1", "a2", {"end1": "a2", "end2": "b1"}),
        ],
    ),
    "single slip with one drive": (
        {"": ("straight", "diverging")},
        [
            ("a1", "a2", {"": "straight"}),
            ("b1", "b2", {"": "straight"}),
            ("a1", "b2", {"": "diverging"}),
        ],
    ),
    "single slip with two drives": (
        {"end1": ("a2", "b2"), "end2": ("a1", "b1")},
        [
            ("a1", "a2", {"end1": "a2", "end2": "a1"}),
            ("b1", "b2", {"end1": "b2", "end2": "b1"}),
            ("a1", "b2", {"end1": "b2", "end2": "a1"}),
        ],
    ),
    "fixed diamond": ({}, [("a1", "a2", {}), ("b1", "b2", {})]),
}
"""The standard fittings: their drives, and their ways with the positions needed.
Points, three way points and diamonds: common practice. Slips: with one drive,
straight is both crossing roads at once and diverging both slip roads at once;
with two, the drive at each end chooses the leg reached at the other."""

PIECE: list[tuple[str, str, Lies]] = [("left", "right", {})]


@dataclass
class Table:
    """Track on a plan, as plain words.

    fittings: name to kind; all other elements are plain pieces.
    joints: pairs of ends: "P1.toe", "A.left", "edge WEST" or "stop".
    signals: name to the ends before and beyond it, as its driver sees them.
    sections: name to elements; an element in none is a section of its own.
    overlaps: signal to the elements beyond it, in order.
    coupled: drives thrown as one; they go by the name of the first.
    """

    fittings: dict[str, str]
    joints: list[tuple[str, str]]
    signals: dict[str, tuple[str, str]]
    sections: dict[str, tuple[str, ...]] = field(default_factory=dict)
    overlaps: dict[str, tuple[str, ...]] = field(default_factory=dict)
    coupled: list[tuple[str, ...]] = field(default_factory=list)

    @property
    def elements(self) -> list[str]:
        named = [end.split(".")[0] for joint in self.joints for end in joint if "." in end]
        return list(dict.fromkeys([*self.fittings, *named]))

    def section_of(self, element: str) -> str:
        return next((s for s, members in self.sections.items() if element in members), element)

    def throws(self, drive: str) -> str:
        """The name by which a drive goes."""
        return next((group[0] for group in self.coupled if drive in group), drive)

    def ways(self, element: str) -> Iterator[tuple[str, str, list[tuple[str, str]]]]:
        """Entry, exit and positions needed, for movements both ways.

        Where drives of one fitting are coupled, a way may need both positions.
        """
        ways = KINDS[self.fittings[element]][1] if element in self.fittings else PIECE
        for one, other, when in ways:
            lies = [(self.throws(drive_name(element, d)), p) for d, p in when.items()]
            yield one, other, lies
            yield other, one, lies

    def drives(self) -> dict[str, tuple[str, ...]]:
        """Each drive and its positions; coupled drives once."""
        return {
            self.throws(drive_name(element, drive)): positions
            for element, kind in self.fittings.items()
            for drive, positions in KINDS[kind][0].items()
        }

    def beyond(self, end: str) -> str:
        """What is joined to an end."""
        for one, other in self.joints:
            if end in (one, other):
                return other if end == one else one
        raise KeyError(end)


def drive_name(element: str, drive: str) -> str:
    return f"{element}.{drive}" if drive else element


@dataclass
class PlainRoute:
    """A route and all that it needs."""

    start: str
    end: str
    ways: tuple[tuple[str, str, str], ...]
    sections: tuple[str, ...]
    positions: Lies
    overlap_sections: tuple[str, ...] = ()
    overlap_positions: Lies = field(default_factory=dict)
    flank: Lies = field(default_factory=dict)
    calling_on: bool = False

    @property
    def elements(self) -> tuple[str, ...]:
        return tuple(element for element, _, _ in self.ways)

    @property
    def key(self) -> tuple[str, str, tuple[tuple[str, str, str], ...], bool]:
        return self.start, self.end, self.ways, self.calling_on

    def demands(self) -> list[tuple[str, str]]:
        return [
            *self.positions.items(),
            *self.overlap_positions.items(),
            *self.flank.items(),
        ]


def movements(table: Table) -> nx.DiGraph:
    """Where a train can go: each end of an element once inwards, once outwards.

    There is an edge through an element only where it has a way, so none leads
    from one branch leg of points to the other. No edge leads past a signal in
    the direction in which it is read.
    """
    graph = nx.DiGraph()
    for element in table.elements:
        for entry, exit_, _ in table.ways(element):
            graph.add_edge((f"{element}.{entry}", "in"), (f"{element}.{exit_}", "out"))
    read = set(table.signals.values())
    for joint in table.joints:
        for before, beyond in (joint, joint[::-1]):
            if "." not in before or (before, beyond) in read:
                continue
            if beyond == "stop":
                graph.add_edge((before, "out"), (f"stop at {before}", "end"))
            elif beyond.startswith("edge "):
                graph.add_edge((before, "out"), (beyond, "end"))
            else:
                graph.add_edge((before, "out"), (beyond, "in"))
    return graph


def find_routes(table: Table) -> list[PlainRoute]:
    """Every route from a signal to the next in the same direction, an edge or a stop."""
    graph = movements(table)
    finish = {(before, "out"): name for name, (before, _) in table.signals.items()}
    finish |= {node: node[0].removeprefix("edge ") for node in graph if node[1] == "end"}
    routes = []
    for name, (_, beyond) in table.signals.items():
        goals = [node for node in finish if node in graph]
        for path in nx.all_simple_paths(graph, (beyond, "in"), goals):
            route = _route(table, name, path, finish)
            if route is not None:
                routes.append(route)
    return routes


def _route(
    table: Table,
    start: str,
    path: list[tuple[str, str]],
    finish: Mapping[tuple[str, str], str],
) -> PlainRoute | None:
    """A path as a route, or None if a train that takes it would meet itself."""
    legs = [end for end, side in path if side != "end"]
    ways = tuple(
        (one.split(".")[0], one.split(".")[1], other.split(".")[1])
        for one, other in zip(legs[::2], legs[1::2], strict=True)
    )
    elements = [element for element, _, _ in ways]
    along = [table.section_of(e) for e in elements]
    entered = [s for i, s in enumerate(along) if i == 0 or along[i - 1] != s]
    if len(set(elements)) < len(elements) or len(set(entered)) < len(entered):
        return None
    positions: Lies = {}
    for element, entry, exit_ in ways:
        for one, other, lies in table.ways(element):
            if (one, other) == (entry, exit_):
                for drive, position in lies:
                    # Coupled drives cannot lie two ways at once.
                    if positions.setdefault(drive, position) != position:
                        return None
    end = finish[path[-1]]
    if end.startswith("stop at "):
        end = elements[-1]
    route = PlainRoute(start, end, ways, tuple(entered), positions)
    if end in table.overlaps and end in table.signals:
        beyond = overlap_needs(table, end)
        own = table.overlaps[end]
        sections = [s for s in map(table.section_of, own) if s not in entered]
        route.overlap_sections = tuple(dict.fromkeys(sections))
        route.overlap_positions = dict(beyond)
    return route


def overlap_needs(table: Table, signal: str) -> list[tuple[str, str]]:
    """Where the drives in an overlap must lie.

    Where it ends facing points or a slip, what every way on needs is needed.
    """
    needs: list[tuple[str, str]] = []
    entry = table.signals[signal][1]
    elements = table.overlaps[signal]
    for index, element in enumerate(elements):
        at, leg = entry.split(".")
        assert at == element, (signal, elements)
        options = [(x, lies) for e, x, lies in table.ways(element) if e == leg]
        if index + 1 < len(elements):
            following = elements[index + 1]
            options = [
                (x, lies)
                for x, lies in options
                if table.beyond(f"{element}.{x}").split(".")[0] == following
            ]
            assert len(options) == 1, (signal, elements)
        needs += [lie for lie in options[0][1] if all(lie in lies for _, lies in options)]
        if len(options) == 1:
            entry = table.beyond(f"{element}.{options[0][0]}")
    return needs


def share_track(one: PlainRoute, other: PlainRoute) -> bool:
    return bool(set(one.sections) & set(other.sections) or set(one.elements) & set(other.elements))


def overlap_entered(one: PlainRoute, other: PlainRoute) -> bool:
    """Whether either runs into the other's overlap.

    A route that goes on from the signal at which the other ends does not: the
    same train goes on by it, and the overlap gives way (common practice).
    """
    return any(
        route.end != against.start and bool(set(route.overlap_sections) & set(against.sections))
        for route, against in ((one, other), (other, one))
    )


def opposed(one: PlainRoute, other: PlainRoute) -> bool:
    """Whether they need a drive in two positions."""
    return any(d == e and p != q for d, p in one.demands() for e, q in other.demands())


def conflict(one: PlainRoute, other: PlainRoute) -> bool:
    """Whether two routes conflict, from the track plan alone."""
    return share_track(one, other) or overlap_entered(one, other) or opposed(one, other)
