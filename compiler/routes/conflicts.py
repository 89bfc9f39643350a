"""Why two routes conflict, for every pair that does.

Routes are compared only where they touch the same section or drive, so the
work grows with the conflicts there are and not with the square of the routes.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from itertools import combinations

from bellcrank.layout.layout_model import FittingKind, Layout, Way
from bellcrank.routes.route_model import REASON_KINDS, Pair, Reason, ReasonKind, Route, RouteTable


def find_conflicts(routes: Mapping[str, Route], layout: Layout) -> RouteTable:
    """The routes with each conflicting pair and its reasons."""
    names = list(routes)
    order = {name: index for index, name in enumerate(names)}
    conflicts: dict[Pair, tuple[Reason, ...]] = {}
    partners: dict[str, list[str]] = defaultdict(list)
    ways = {name: {way.element: way for way in route.ways} for name, route in routes.items()}
    for first, second in sorted(_candidates(routes, order)):
        pair = names[first], names[second]
        reasons = _reasons(*pair, routes, ways, layout)
        if reasons:
            conflicts[pair] = reasons
            partners[pair[0]].append(pair[1])
            partners[pair[1]].append(pair[0])
    ordered = {name: tuple(sorted(partners[name], key=order.__getitem__)) for name in routes}
    return RouteTable(routes, conflicts, ordered)


def pairs_at_least(routes: Mapping[str, Route]) -> int:
    """The pairs of routes over the section that most routes lead over: so many, and
    perhaps more, would have to be compared."""
    users: dict[str, int] = defaultdict(int)
    for route in routes.values():
        for section in route.sections:
            users[section] += 1
    return max((count * (count - 1) // 2 for count in users.values()), default=0)


def _candidates(routes: Mapping[str, Route], order: Mapping[str, int]) -> set[tuple[int, int]]:
    """Pairs, by their places in the table, that touch one section or drive."""
    paths: dict[str, list[int]] = defaultdict(list)
    overlaps: dict[str, list[int]] = defaultdict(list)
    drives: dict[str, dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
    for name, route in routes.items():
        index = order[name]
        for section in route.sections:
            paths[section].append(index)
        for section in route.overlap_sections:
            overlaps[section].append(index)
        for drive, position in route.demands.items():
            drives[drive][position].append(index)
    pairs: set[tuple[int, int]] = set()
    for section, users in paths.items():
        pairs.update(combinations(users, 2))
        for index in overlaps.get(section, ()):
            pairs.update((min(index, user), max(index, user)) for user in users if user != index)
    for positions in drives.values():
        for one, other in combinations(positions.values(), 2):
            pairs.update((min(a, b), max(a, b)) for a in one for b in other)
    return pairs


def _reasons(
    first: str,
    second: str,
    routes: Mapping[str, Route],
    ways: Mapping[str, Mapping[str, Way]],
    layout: Layout,
) -> tuple[Reason, ...]:
    one, other = routes[first], routes[second]
    where: dict[ReasonKind, list[str]] = defaultdict(list)
    told: set[str] = set()
    for way in one.ways:
        match = ways[second].get(way.element)
        if match is not None:
            kind = how_ways_meet(way, match, layout.elements[way.element].kind)
            told.add(layout.section_of[way.element])
            name = way.element
            if kind == "shared section":
                name = layout.section_of[name]
            if name not in where[kind]:
                where[kind].append(name)
    for section in one.sections:
        if section in other.sections and section not in told:
            where["shared section"].append(section)
    for route, against in ((one, other), (other, one)):
        for section in route.overlap_entered_by(against):
            if section not in where["overlap"]:
                where["overlap"].append(section)
    opposed = _opposed(one, other, layout)
    if where:
        # Routes that meet on the track are not told of their flanks as well.
        opposed.pop("flank", None)
    kinds = {**where, **opposed}
    return tuple(
        Reason(kind, tuple(where[kind]), tuple(opposed.get(kind, ())))
        for kind in REASON_KINDS
        if kinds.get(kind)
    )


def how_ways_meet(one: Way, other: Way, kind: FittingKind) -> ReasonKind:
    """How two ways through one fitting get into each other's way."""
    legs, other_legs = {one.entry, one.exit}, {other.entry, other.exit}
    shared = legs & other_legs
    if not shared:
        return "crossing" if _alternate(legs, other_legs, kind.legs) else "fouling"
    # Each shared leg is passed inwards or outwards; both inwards is following on.
    towards = any((leg == one.entry) != (leg == other.entry) for leg in shared)
    if towards:
        return "head-on"
    return "shared section"


def _alternate(legs: set[str], other: set[str], order: tuple[str, ...]) -> bool:
    """Whether two pairs of legs alternate round the fitting, so that ways cross."""
    around = [leg in legs for leg in order if leg in legs | other]
    return around in ([True, False, True, False], [False, True, False, True])


def _opposed(
    one: Route, other: Route, layout: Layout
) -> dict[ReasonKind, list[tuple[str, str, str]]]:
    """Drives that two routes need in different positions. Routes that need a frog differently
    meet in its fitting, which is the reason."""
    opposed: dict[ReasonKind, list[tuple[str, str, str]]] = defaultdict(list)
    theirs = other.demands
    for drive, position in one.demands.items():
        against = theirs.get(drive, position)
        if against != position and layout.drives[drive].frog is None:
            sources = {_source(one, drive), _source(other, drive)}
            kind: ReasonKind = "opposed drive"
            if "flank" in sources:
                kind = "flank"
            elif "overlap" in sources:
                kind = "overlap"
            opposed[kind].append((drive, position, against))
    return opposed


def _source(route: Route, drive: str) -> ReasonKind:
    """On whose account a route needs a drive."""
    if any(d == drive for d, _ in route.positions):
        return "opposed drive"
    return "overlap" if any(d == drive for d, _ in route.overlap_positions) else "flank"
