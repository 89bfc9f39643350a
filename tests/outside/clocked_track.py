"""Track as the JSON document tells of it, with lengths: for the railway in continuous time.

Nothing is read but the document's `layout`, `routes` and `locking`, as its schema explains
them. No code is shared with the compiler.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

Json = Mapping[str, Any]

End = tuple[str, str]
"""A leg, as ("P1", "toe"); an edge, as ("edge", name); a stop, as ("stop", "")."""

EDGE, STOP = "edge", "stop"

Lies = tuple[tuple[str, str], ...]
"""Drives and where they must lie."""


class Way(NamedTuple):
    """Through an element, from leg to leg."""

    element: str
    entry: str
    exit: str

    def back(self) -> Way:
        return Way(self.element, self.exit, self.entry)


@dataclass(frozen=True)
class Route:
    """A route. looked_at: sections without detection that a person looks at before asking for it.

    along: the section of each of its ways. drives: those it needs, and where.
    """

    name: str
    start: str
    ends_at: str
    end: str
    calling_on: bool
    ways: tuple[Way, ...]
    sections: tuple[str, ...]
    along: tuple[str, ...]
    overlap: tuple[str, ...]
    clear: tuple[str, ...]
    looked_at: tuple[str, ...]
    drives: Lies

    @property
    def first_of_last(self) -> int:
        """The place of the first way in its last section."""
        return self.along.index(self.sections[-1])


@dataclass
class Track:
    """All that does not change.

    ways: from each leg, with where drives must lie. beyond: what is joined to each leg and edge.
    stretch_of: track of one section that hangs together without a signal in it, by number.
    read_at: the signal that a train comes to by each leg or edge.
    approach: for each edge at which trains may come in, the elements up to the first signal.
    """

    document: Json
    rng: random.Random
    ways: dict[End, list[tuple[Way, Lies]]] = field(default_factory=lambda: defaultdict(list))
    beyond: dict[End, End] = field(default_factory=dict)
    length: dict[str, float] = field(default_factory=dict)
    section_of: dict[str, str] = field(default_factory=dict)
    elements_of: dict[str, list[str]] = field(default_factory=dict)
    detected: set[str] = field(default_factory=set)
    stretch_of: dict[str, int] = field(default_factory=dict)
    drives: dict[str, tuple[str, ...]] = field(default_factory=dict)
    contacts: set[str] = field(default_factory=set)
    on_drive: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    signals: dict[str, End] = field(default_factory=dict)
    read_at: dict[End, str] = field(default_factory=dict)
    routes: dict[str, Route] = field(default_factory=dict)
    onward: dict[str, list[Route]] = field(default_factory=lambda: defaultdict(list))
    approach: dict[str, tuple[str, ...]] = field(default_factory=dict)
    overlapping: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))

    def __post_init__(self) -> None:
        layout = self.document["layout"]
        for section in layout["sections"]:
            self.elements_of[section["name"]] = list(section["elements"])
            if section["detected"]:
                self.detected.add(section["name"])
        moved_by = {}
        for drive in layout["drives"]:
            self.drives[drive["name"]] = tuple(p["position"] for p in drive["positions"])
            moved_by.update(dict.fromkeys(drive["works"], drive["name"]))
            if drive["detected"]:
                self.contacts.add(drive["name"])
        kinds = {kind["name"]: kind for kind in layout["kinds"]}
        for element in layout["elements"]:
            self._element(element, kinds[element["kind"]], moved_by)
        for edge in layout["edges"]:
            self.beyond[EDGE, edge["name"]] = _end(edge["at"])
        for signal in layout["signals"]:
            before = _end(signal["before"])
            self.signals[signal["name"]] = before
            self.read_at[before] = signal["name"]
        self._stretches()
        self._routes()
        for edge in layout["edges"]:
            approach = self._approach(edge["name"])
            if approach is not None:
                self.approach[edge["name"]] = approach

    def _element(self, element: Json, kind: Json, moved_by: Mapping[str, str]) -> None:
        name = element["name"]
        plain = element["kind"] == "plain piece"
        self.length[name] = self.rng.uniform(0.2, 2.0) if plain else self.rng.uniform(0.2, 0.4)
        self.section_of[name] = element["section"]
        for leg, end in element["legs"].items():
            self.beyond[name, leg] = _end(end)

        def drive(own: str) -> str:
            return moved_by[f"{name}.{own}" if own else name]

        for part in kind["drives"]:
            if name not in self.on_drive[drive(part["name"])]:
                self.on_drive[drive(part["name"])].append(name)
        for way in kind["ways"]:
            one, other = way["legs"]
            lies = tuple((drive(w["drive"]), w["position"]) for w in way["when"])
            self.ways[name, one].append((Way(name, one, other), lies))
            self.ways[name, other].append((Way(name, other, one), lies))

    def _stretches(self) -> None:
        """Join elements of one section, unless a signal stands between them."""
        groups = {name: {name} for name in self.section_of}
        apart: dict[str, set[str]] = defaultdict(set)
        joints = [
            (end, other)
            for end, other in self.beyond.items()
            if end[0] in groups and other[0] in groups
        ]
        for end, other in joints:
            if end in self.read_at or other in self.read_at:
                apart[end[0]].add(other[0])
                apart[other[0]].add(end[0])
        for end, other in joints:
            one, two = groups[end[0]], groups[other[0]]
            signal = end in self.read_at or other in self.read_at
            if signal or one is two or self.section_of[end[0]] != self.section_of[other[0]]:
                continue
            if not any(apart[name] & two for name in one):
                one |= two
                groups.update(dict.fromkeys(two, one))
        numbers: dict[int, int] = {}
        for name, group in groups.items():
            self.stretch_of[name] = numbers.setdefault(id(group), len(numbers))

    def _routes(self) -> None:
        locking = self.document["locking"]
        for r in self.document["routes"]:
            ways = tuple(Way(w["element"], w["entry"], w["exit"]) for w in r["ways"])
            overlap = tuple(r["overlap"]["sections"]) if r["overlap"] else ()
            drives = {
                n["drive"]: n["position"] for n in locking["needs"] if n["route"] == r["name"]
            }
            clear = dict.fromkeys(r["sections_clear"])
            clear |= dict.fromkeys(
                n["section"] for n in locking["needs_clear"] if n["route"] == r["name"]
            )
            looked_at = {s for s in clear if s not in self.detected}
            for drive in drives:
                looked_at |= {self.section_of[e] for e in self.on_drive[drive]} - self.detected
            route = Route(
                r["name"],
                r["from"],
                r["ends_at"],
                r["to"],
                r["calling_on"],
                ways,
                tuple(r["sections"]),
                tuple(self.section_of[w.element] for w in ways),
                overlap,
                tuple(clear),
                tuple(sorted(looked_at)),
                tuple(drives.items()),
            )
            self.routes[route.name] = route
            self.onward[route.start].append(route)
            for section in overlap:
                self.overlapping[section].append(route.name)

    def _approach(self, edge: str) -> tuple[str, ...] | None:
        end = self.beyond[EDGE, edge]
        if (EDGE, edge) in self.read_at:
            return ()
        found: list[str] = []
        while end in self.ways and len(self.ways[end]) == 1 and end[0] not in found:
            way, lies = self.ways[end][0]
            if lies:
                return None
            found.append(way.element)
            end = (way.element, way.exit)
            if end in self.read_at:
                return tuple(found)
            end = self.beyond[end]
        return None

    # ------------------------------------------------------------------ lengths

    def room(self, route: Route) -> float:
        """How long the stretch is in which its train comes to stand."""
        if route.ends_at == "edge":
            return 1e9
        last = self.stretch_of[route.ways[-1].element]
        room = 0.0
        for way in reversed(route.ways):
            if self.stretch_of[way.element] != last:
                break
            room += self.length[way.element]
        return room

    def slowest(self, seconds: float) -> float:
        """The speed with which a train crosses the last section of any route in this time."""
        longest = max(
            sum(self.length[w.element] for w in r.ways[r.first_of_last :])
            for r in self.routes.values()
        )
        return longest / seconds


def _end(end: Json) -> End:
    match end["type"]:
        case "leg":
            return end["element"], end["leg"]
        case "edge":
            return EDGE, end["name"]
    return STOP, ""
