"""The track as trains occupy it: parts, and the passages over each.

A part is track of one section that hangs together without a signal in it.
With a section for each piece and fitting, as is usual, every part is one of them.
A train on a part is known by its passage: the leg by which it came, and the leg
by which it will go on, over ways that its drives made when it came.

Where track of a part comes back to itself, as a turning loop within one section does, a way
from one end of the part may lead to no other. It is a passage all the same, up to where it comes
back; and so is the same way from there, where a signal lets out what stands on it: vehicles
that were there before all began, or a train that has turned back.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from bellcrank.layout.layout_model import Edge, Layout, Leg, Position, Signal, TrackEnd, Way
from bellcrank.routes.route_model import Route
from bellcrank.routes.track_search import signals_by_joint


@dataclass(frozen=True, slots=True)
class Passage:
    """A movement over a part, from the leg it is entered by to the leg it is left by.

    ways: through each element. positions: where drives must lie for it.
    number: which it is, from 1, of those between the same two legs.
    """

    name: str
    part: str
    entry: Leg
    exit: Leg
    ways: tuple[Way, ...]
    positions: tuple[Position, ...]
    number: int = 1


@dataclass(frozen=True, slots=True)
class Part:
    """Track of one section without a signal in it."""

    name: str
    section: str
    elements: tuple[str, ...]
    passages: tuple[Passage, ...]


@dataclass(frozen=True, slots=True)
class Step:
    """A part on the way of a route: `section` is the place of its section, from 1."""

    part: str
    section: int
    entry: Leg
    exit: Leg
    passage: Passage | None


@dataclass(frozen=True, slots=True)
class Parts:
    """All parts of a layout.

    by_entry, by_exit: passages by the leg a train enters or leaves a part by.
    signals: the signal at each leg or edge that trains leave by.
    """

    parts: Mapping[str, Part]
    part_of: Mapping[str, str]
    in_section: Mapping[str, tuple[str, ...]]
    by_entry: Mapping[Leg, tuple[Passage, ...]]
    by_exit: Mapping[Leg, tuple[Passage, ...]]
    signals: Mapping[TrackEnd, Signal]

    def steps(self, route: Route) -> tuple[Step, ...]:
        """The parts on the way of a route, in order."""
        index = {name: k for k, name in enumerate(route.sections, start=1)}
        found: list[Step] = []
        ways: list[Way] = []
        for way, following in zip(route.ways, (*route.ways[1:], None), strict=True):
            ways.append(way)
            part = self.part_of[way.element]
            if following is not None and self.part_of[following.element] == part:
                continue
            entry, exit_ = Leg(ways[0].element, ways[0].entry), Leg(way.element, way.exit)
            passage = next((p for p in self.by_entry[entry] if p.ways == tuple(ways)), None)
            section = index[self.parts[part].section]
            found.append(Step(part, section, entry, exit_, passage))
            ways = []
        return tuple(found)


@dataclass(slots=True)
class PassagesAsked:
    """The passages of a layout, found only of parts that are asked about.

    members: the elements of each part, by its name. part_of, signals: as in `Parts`.
    """

    layout: Layout
    members: dict[str, tuple[str, ...]] = field(default_factory=dict)
    part_of: dict[str, str] = field(default_factory=dict)
    signals: Mapping[TrackEnd, Signal] = field(init=False)
    _found: dict[str, tuple[Passage, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        section_of = self.layout.section_of
        self.signals = signals_by_joint(self.layout)
        grouped = _grouped(self.layout, self.signals)
        count = Counter(section_of[elements[0]] for elements in grouped)
        for elements in grouped:
            section = section_of[elements[0]]
            name = section if count[section] == 1 else f"{section} at {elements[0]}"
            self.members[name] = elements
            self.part_of.update(dict.fromkeys(elements, name))

    def over(self, part: str) -> tuple[Passage, ...]:
        """The passages over a part."""
        found = self._found.get(part)
        if found is None:
            elements = self.members[part]
            found = tuple(_passages(part, elements, self.layout, self.part_of, self.signals))
            self._found[part] = found
        return found

    def entering(self, leg: Leg) -> tuple[Passage, ...]:
        """Those by which a train enters a part by a leg."""
        return tuple([p for p in self.over(self.part_of[leg.element]) if p.entry == leg])


def find_parts(layout: Layout) -> Parts:
    """The parts of a layout."""
    return all_parts(PassagesAsked(layout))


def all_parts(asked: PassagesAsked) -> Parts:
    """The parts of the layout of which passages are asked."""
    layout = asked.layout
    in_section: dict[str, list[str]] = defaultdict(list)
    parts: dict[str, Part] = {}
    by_entry: dict[Leg, list[Passage]] = defaultdict(list)
    by_exit: dict[Leg, list[Passage]] = defaultdict(list)
    for name, elements in asked.members.items():
        section = layout.section_of[elements[0]]
        in_section[section].append(name)
        passages = asked.over(name)
        for passage in passages:
            by_entry[passage.entry].append(passage)
            by_exit[passage.exit].append(passage)
        parts[name] = Part(name, section, elements, passages)
    return Parts(
        parts,
        asked.part_of,
        {s: tuple(names) for s, names in in_section.items()},
        defaultdict(tuple, {leg: tuple(p) for leg, p in by_entry.items()}),
        defaultdict(tuple, {leg: tuple(p) for leg, p in by_exit.items()}),
        asked.signals,
    )


def _grouped(layout: Layout, signals: Mapping[TrackEnd, Signal]) -> list[tuple[str, ...]]:
    """The elements of each part, in the order of the source.

    Two elements with a signal between them are never in one part, even if track
    without a signal joins them up another way.
    """
    group = {name: [name] for name in layout.elements}
    apart: dict[str, set[str]] = defaultdict(set)
    for leg, end in layout.joined.items():
        if isinstance(end, Leg) and (leg in signals or end in signals):
            apart[leg.element].add(end.element)
            apart[end.element].add(leg.element)
    for leg, end in layout.joined.items():
        if not isinstance(end, Leg) or leg in signals or end in signals:
            continue
        one, other = group[leg.element], group[end.element]
        if one is other or layout.section_of[leg.element] != layout.section_of[end.element]:
            continue
        if not any(apart[name] & set(other) for name in one):
            one += other
            group.update(dict.fromkeys(other, one))
    order = {name: index for index, name in enumerate(layout.elements)}
    unique = {id(names): names for names in group.values()}
    return [tuple(sorted(names, key=order.__getitem__)) for names in unique.values()]


def _passages(
    part: str,
    elements: tuple[str, ...],
    layout: Layout,
    part_of: Mapping[str, str],
    signals: Mapping[TrackEnd, Signal],
) -> Iterator[Passage]:
    count: dict[tuple[Leg, Leg], int] = defaultdict(int)
    for ways in _all_walks(elements, layout, part_of, signals):
        positions: dict[str, str] = {}
        if any(positions.setdefault(d, p) != p for w in ways for d, p in w.lies_right):
            continue
        entry, exit_ = Leg(ways[0].element, ways[0].entry), Leg(ways[-1].element, ways[-1].exit)
        count[entry, exit_] += 1
        number = count[entry, exit_]
        name = f"{entry} to {exit_}" + (f" by way {number}" if number > 1 else "")
        yield Passage(name, part, entry, exit_, ways, tuple(positions.items()), number)


def _all_walks(
    elements: tuple[str, ...],
    layout: Layout,
    part_of: Mapping[str, str],
    signals: Mapping[TrackEnd, Signal],
) -> Iterator[tuple[Way, ...]]:
    """The ways of all passages over a part."""
    part = part_of[elements[0]]
    for element in elements:
        for leg_name in layout.elements[element].kind.legs:
            leg = Leg(element, leg_name)
            outside = layout.joined.get(leg)
            if outside is None or not _ends(leg, outside, part, part_of, signals):
                continue
            for ways in _walks(leg, part, layout, part_of, signals):
                yield ways
                last = Leg(ways[-1].element, ways[-1].exit)
                comes_back = not _ends(last, layout.joined[last], part, part_of, signals)
                if comes_back and leg in signals:
                    yield tuple(_backwards(way, layout) for way in reversed(ways))


def _backwards(way: Way, layout: Layout) -> Way:
    """The same way through an element, taken the other way round."""
    ways = layout.ways_from(Leg(way.element, way.exit))
    return next(w for w in ways if w.exit == way.entry and w.when == way.when)


def _ends(
    leg: Leg,
    outside: TrackEnd,
    part: str,
    part_of: Mapping[str, str],
    signals: Mapping[TrackEnd, Signal],
) -> bool:
    """Whether a part ends at a leg: at a stop, an edge, a signal or another part."""
    if not isinstance(outside, Leg) or part_of[outside.element] != part:
        return True
    return leg in signals or outside in signals


def _walks(
    entry: Leg,
    part: str,
    layout: Layout,
    part_of: Mapping[str, str],
    signals: Mapping[TrackEnd, Signal],
) -> Iterator[tuple[Way, ...]]:
    """All sequences of ways from a leg to where the part ends or comes back to itself."""
    stack: list[tuple[Way, ...]] = [(way,) for way in reversed(layout.ways_from(entry))]
    while stack:
        ways = stack.pop()
        exit_ = Leg(ways[-1].element, ways[-1].exit)
        beyond = layout.joined[exit_]
        if _ends(exit_, beyond, part, part_of, signals):
            yield ways
            continue
        assert isinstance(beyond, Leg)
        if any(way.element == beyond.element for way in ways):
            yield ways
            continue
        stack += [(*ways, way) for way in reversed(layout.ways_from(beyond))]


def approach_from(edge: str, asked: PassagesAsked) -> tuple[Passage, ...] | None:
    """The passages by which a train comes from an edge up to the first signal.

    Empty if the signal stands at the edge itself; None if a train would come to
    points or a stop first, so that none is let in.
    """
    if Edge(edge) in asked.signals:
        return ()
    found: list[Passage] = []
    leg: TrackEnd = asked.layout.edges[edge]
    while isinstance(leg, Leg):
        passages = asked.entering(leg)
        if len(passages) != 1 or passages[0].positions or passages[0] in found:
            return None
        found.append(passages[0])
        if passages[0].exit in asked.signals:
            return tuple(found)
        leg = asked.layout.joined[passages[0].exit]
    return None


def coming_from(asked: PassagesAsked) -> dict[str, tuple[str, ...]]:
    """For each section those from which a train comes into it on its way from an edge
    to the first signal: nothing stops it in between."""
    layout = asked.layout
    found: dict[str, dict[str, None]] = {section: {} for section in layout.sections}
    for edge in layout.edges:
        approach = approach_from(edge, asked) or ()
        sections = [layout.section_of[p.entry.element] for p in approach]
        for index, section in enumerate(sections):
            found[section] |= dict.fromkeys(s for s in sections[:index] if s != section)
    return {section: tuple(before) for section, before in found.items()}
