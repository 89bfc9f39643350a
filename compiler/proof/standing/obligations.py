"""What must be shown of routes as they stand, stated from the track alone.

An obligation is one thing that must never be: two routes set over one section, a
drive that lies wrong for a set route. It never reads the conflicts that the route
table lists: what the table forgot would be found out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from bellcrank.layout.layout_model import Position
from bellcrank.routes.route_model import RouteTable

PropertyName = Literal["track", "positions", "overlaps", "flanks"]

SENTENCES: dict[PropertyName, str] = {
    "track": "no two set routes lead over the same section or fitting",
    "positions": "every drive on a set route lies right for it",
    "overlaps": "no set route leads into the overlap of another, "
    "and the drives in an overlap lie right",
    "flanks": "every drive that protects the flank of a set route lies right",
}
"""Each property as a sentence for people."""


@dataclass(frozen=True, slots=True)
class Exclusive:
    """No two of these routes, all that lead over one section, may be set."""

    violates: PropertyName
    section: str
    routes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Apart:
    """While a route is set, none of the others may be that lead into its overlap."""

    violates: PropertyName
    route: str
    section: str
    others: tuple[str, ...]

    @property
    def routes(self) -> tuple[str, ...]:
        return (self.route, *self.others)


@dataclass(frozen=True, slots=True)
class Lies:
    """While a route is set, a drive must lie as it needs."""

    violates: PropertyName
    route: str
    position: Position

    @property
    def routes(self) -> tuple[str, ...]:
        return (self.route,)


Obligation = Exclusive | Apart | Lies


def obligations(table: RouteTable) -> tuple[Obligation, ...]:
    """Everything that must be shown of a layout's routes."""
    users: dict[str, list[str]] = defaultdict(list)
    for route in table.routes.values():
        for section in route.sections:
            users[section].append(route.name)
    found: list[Obligation] = list(_exclusive(users))
    for route in table.routes.values():
        found += [Lies("positions", route.name, p) for p in route.positions]
        found += [Lies("overlaps", route.name, p) for p in route.overlap_positions]
        found += [Lies("flanks", route.name, p) for p in route.flank]
        for section in route.overlap_sections:
            others = tuple(
                name
                for name in users[section]
                if name != route.name and section in route.overlap_entered_by(table.routes[name])
            )
            if others:
                found.append(Apart("overlaps", route.name, section, others))
    return tuple(found)


def _exclusive(users: Mapping[str, Sequence[str]]) -> Iterator[Exclusive]:
    """One obligation for each section, less those that another one subsumes.

    Where all routes over one section also lead over a second, to keep any two
    off the second is to keep any two off the first.
    """
    containing: dict[str, list[frozenset[str]]] = defaultdict(list)
    kept: set[str] = set()
    for section, names in sorted(users.items(), key=lambda item: -len(item[1])):
        routes = frozenset(names)
        if len(names) > 1 and not any(routes <= other for other in containing[names[0]]):
            kept.add(section)
            for name in names:
                containing[name].append(routes)
    for section, names in users.items():
        if section in kept:
            yield Exclusive("track", section, tuple(names))
