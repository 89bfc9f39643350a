"""A railway read from the syntax tree alone: track, routes and rules as plain values.

Written from grammar/README.md, for the simulator beside it. Of the compiler nothing but the
parser is used: joints, sections, routes, overlaps and rules are found here once more. Only the
positions that `flank derive` asks for are taken from a route table, by `with_flanks`.

The text is taken to be free of errors.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import NamedTuple

from bellcrank.syntax import tree as t
from bellcrank.syntax.load import Program, load_file, load_text

End = tuple[str, str]
"""A leg or the end of a piece, as ("P1", "toe"); ("edge", name); ("stop", "")."""

EDGE = "edge"
STOP: End = ("stop", "")

Lies = tuple[tuple[str, str], ...]
"""Drives and where they lie."""

FITTINGS = Path(__file__).parents[2] / "grammar" / "fittings.crank"


class Way(NamedTuple):
    """Through an element, from leg to leg."""

    element: str
    entry: str
    exit: str


@dataclass
class PlainRoute:
    """A route and all that it needs.

    needs: where drives must lie by the rules in force. clear: sections that must be clear by
    them. needs_set: the numbers of routes that must be set.
    """

    number: int
    start: str
    ways: tuple[Way, ...]
    end: str
    at_signal: bool
    calling_on: bool = False
    name: str = ""
    sections: tuple[str, ...] = ()
    along: tuple[str, ...] = ()
    positions: dict[str, str] = field(default_factory=dict)
    overlap: tuple[str, ...] = ()
    overlap_positions: dict[str, str] = field(default_factory=dict)
    flank: dict[str, str] = field(default_factory=dict)
    needs: dict[str, str] = field(default_factory=dict)
    clear: dict[str, None] = field(default_factory=dict)
    needs_set: list[int] = field(default_factory=list)

    @property
    def has_overlap(self) -> bool:
        return bool(self.overlap or self.overlap_positions)

    def demands(self) -> Iterator[tuple[str, str]]:
        """Drives that its way, its overlap and its flank need."""
        for positions in (self.positions, self.overlap_positions, self.flank):
            yield from positions.items()

    @property
    def berth_or_all(self) -> tuple[str, ...]:
        """Its sections that must be clear: not the berth when calling on."""
        return self.sections[:-1] if self.calling_on else self.sections


@dataclass
class Railway:
    """Track, routes and rules.

    ways: from each leg, with the drives that must lie for it.
    beyond: what each end is joined to. signals: the ends before and beyond each.
    read_at: the signal that a train reads which leaves by an end.
    approach: for each edge that lets trains in, the elements up to the first signal;
        empty if the signal stands at the edge. unwatched: the other edges.
    throws: the drive by whose name each coupled one goes. on_drive: the fittings of each.
    locks: pairs of routes, and the positions in which alone the rule counts.
    """

    ways: dict[End, list[tuple[Way, Lies]]] = field(default_factory=dict)
    beyond: dict[End, End] = field(default_factory=dict)
    signals: dict[str, tuple[End, End]] = field(default_factory=dict)
    read_at: dict[End, str] = field(default_factory=dict)
    section_of: dict[str, str] = field(default_factory=dict)
    undetected: set[str] = field(default_factory=set)
    drives: dict[str, tuple[str, ...]] = field(default_factory=dict)
    throws: dict[str, str] = field(default_factory=dict)
    on_drive: dict[str, tuple[str, ...]] = field(default_factory=dict)
    pieces: set[str] = field(default_factory=set)
    approach: dict[str, tuple[str, ...]] = field(default_factory=dict)
    unwatched: set[str] = field(default_factory=set)
    routes: list[PlainRoute] = field(default_factory=list)
    derived: bool = True
    drives_need_clear: bool = True
    by_section: bool = True
    locks: list[tuple[int, int, Lies]] = field(default_factory=list)
    never: list[tuple[int, int]] = field(default_factory=list)

    def elements(self) -> list[str]:
        return list(dict.fromkeys(element for element, _ in self.ways))

    def released_by_section(self, route: PlainRoute) -> bool:
        return self.by_section and not self.undetected.intersection(route.sections)


def railway(source: str | Path) -> Railway:
    """The railway of a layout's text, or of its file."""
    load = load_file(source) if isinstance(source, Path) else load_text(source, "railway.crank")
    program, _ = load
    found = Railway()
    _track(program, found)
    _routes(program, found)
    _rules(program, found)
    return found


# ---------------------------------------------------------------------- track


@dataclass
class _Kind:
    """A kind of fitting: its drives with their positions, its ways with what they need."""

    drives: dict[str, tuple[str, ...]]
    ways: list[tuple[str, str, Lies]]


def _kind(definition: t.FittingDefinition) -> _Kind:
    drives = {
        str(part.name or ""): tuple(map(str, part.positions))
        for part in definition.parts
        if isinstance(part, t.FittingDrive)
    }
    ways = [
        (
            str(part.first),
            str(part.second),
            tuple((str(c.drive or ""), str(c.position)) for c in part.when),
        )
        for part in definition.parts
        if isinstance(part, t.Way)
    ]
    return _Kind(drives, ways)


@cache
def _standard_kinds() -> Mapping[str, _Kind]:
    program, _ = load_text(FITTINGS.read_text("utf-8"), FITTINGS.name)
    return {d.kind.text: _kind(d) for d in program.of(t.FittingDefinition)}


def _track(program: Program, found: Railway) -> None:
    kinds = {
        **_standard_kinds(),
        **{d.kind.text: _kind(d) for d in program.of(t.FittingDefinition)},
    }
    for coupled in program.of(t.CoupledLine):
        names = list(map(str, coupled.drives))
        found.throws.update(dict.fromkeys(names, names[0]))
    on_drive: dict[str, list[str]] = {}
    for line in program.of(t.Declaration):
        for word in line.names:
            _fitting(str(word), kinds[line.kind.text], on_drive, found)
    found.on_drive = {d: tuple(dict.fromkeys(elements)) for d, elements in on_drive.items()}
    for run in program.of(t.RunLine):
        _run(run, found)
    _sections(program, found)
    for end, beyond in list(found.beyond.items()):
        if end[0] == EDGE:
            _edge(end, beyond, found)


def _fitting(name: str, kind: _Kind, on_drive: dict[str, list[str]], found: Railway) -> None:
    def drive(part: str) -> str:
        own = f"{name}.{part}" if part else name
        return found.throws.get(own, own)

    for part, positions in kind.drives.items():
        found.drives[drive(part)] = positions
        on_drive.setdefault(drive(part), []).append(name)
    for one, other, when in kind.ways:
        lies = tuple(dict.fromkeys((drive(part), position) for part, position in when))
        if len(dict(lies)) < len(lies):
            # Drives that are thrown as one cannot lie two ways.
            lies = tuple((d, f"{p}, never") for d, p in lies)
        for entry, exit_ in ((one, other), (other, one)):
            found.ways.setdefault((name, entry), []).append((Way(name, entry, exit_), lies))


def _run(run: t.RunLine, found: Railway) -> None:
    """Join what a run names, from left to right."""
    left: End | None = None
    at_joint: list[t.SignalHere] = []
    for item in run.items:
        if isinstance(item, t.SignalHere):
            at_joint.append(item)
            continue
        here, going_on = _ends(item, found)
        if left is not None:
            for one, other in ((left, here), (here, left)):
                if one != STOP:
                    found.beyond[one] = other
            for signal in at_joint:
                before, after = (left, here) if signal.rightwards else (here, left)
                found.signals[str(signal.name)] = (before, after)
                found.read_at[before] = str(signal.name)
        left, at_joint = going_on, []


def _ends(item: t.RunItem, found: Railway) -> tuple[End, End]:
    """The end of an item that is joined to its left neighbour, and to its right."""
    match item:
        case t.Edge():
            return (EDGE, str(item.name)), (EDGE, str(item.name))
        case t.LegHere():
            leg = str(item.element), str(item.leg)
            found.ways.setdefault(leg, [])
            return leg, leg
        case t.Piece():
            name = str(item.name)
            if name not in found.pieces:
                found.pieces.add(name)
                found.ways[name, "left"] = [(Way(name, "left", "right"), ())]
                found.ways[name, "right"] = [(Way(name, "right", "left"), ())]
            return (name, "left"), (name, "right")
    return STOP, STOP


def _sections(program: Program, found: Railway) -> None:
    found.section_of = {element: element for element in found.elements()}
    for line in program.of(t.SectionLine):
        found.section_of.update(dict.fromkeys(map(str, line.elements), str(line.name)))
        if line.without_detection:
            found.undetected.add(str(line.name))
    if any(line.without_detection for line in program.of(t.LayoutLine)):
        found.undetected = set(found.section_of.values())


def _edge(edge: End, beyond: End, found: Railway) -> None:
    """Up to where a train comes from an edge before it reads a signal."""
    _, name = edge
    if edge in found.read_at:
        found.approach[name] = ()
        return
    passed: list[str] = []
    end = beyond
    while end in found.ways and end[0] not in passed:
        ways = found.ways[end]
        if len(ways) != 1 or ways[0][1]:
            break
        way = ways[0][0]
        passed.append(way.element)
        leaving = (way.element, way.exit)
        if leaving in found.read_at:
            found.approach[name] = tuple(passed)
            return
        end = found.beyond[leaving]
    found.unwatched.add(name)


# --------------------------------------------------------------------- routes


def _routes(program: Program, found: Railway) -> None:
    overlaps = {str(o.signal): tuple(map(str, o.elements)) for o in program.of(t.OverlapLine)}
    every = [path for name in found.signals for path in _paths(name, found)]
    if not program.of(t.RoutesWritten):
        for start, ways, end, at_signal in every:
            _add_route(PlainRoute(0, start, ways, end, at_signal), overlaps, found)
    for line in program.of(t.RouteLine):
        matching = [p for p in every if _meant(line.way, p[0], p[2], p[1])]
        exact = [p for p in matching if p[2] == str(line.way.end)]
        start, ways, end, at_signal = (exact or matching)[0]
        calling_on = line.way.calling_on
        route = next(
            (
                r
                for r in found.routes
                if (r.start, r.ways, r.calling_on) == (start, ways, calling_on)
            ),
            None,
        )
        if route is None:
            route = PlainRoute(0, start, ways, end, at_signal, calling_on)
            _add_route(route, overlaps, found)
        route.name = str(line.name or "")
    for flank in program.of(t.FlankWritten):
        route = route_of(flank.route, found)
        route.flank |= {_thrown(d.drive, found): str(d.position) for d in flank.demands}


def _thrown(drive: t.DriveName, found: Railway) -> str:
    """The name by which a drive goes: that of the first it is coupled with."""
    return found.throws.get(str(drive), str(drive))


_Path = tuple[str, tuple[Way, ...], str, bool]
"""From a signal, its ways, to what, and whether that is a signal."""


def _paths(signal: str, found: Railway) -> Iterator[_Path]:
    """Every way from a signal to the next that is read in the same direction, an edge or a
    stop, which does not come back to its own track."""
    stack: list[tuple[tuple[Way, ...], End]] = [((), found.signals[signal][1])]
    while stack:
        ways, end = stack.pop()
        if end[0] == EDGE:
            if ways:
                yield signal, ways, end[1], False
            continue
        if end == STOP:
            yield signal, ways, ways[-1].element, False
            continue
        section = found.section_of[end[0]]
        along = [found.section_of[w.element] for w in ways]
        if end[0] in [w.element for w in ways] or (section in along[:-1] and along[-1] != section):
            continue
        for way, lies in reversed(found.ways[end]):
            further = (*ways, way)
            if any(position.endswith(", never") for _, position in lies):
                continue
            if not _can_lie(further, found):
                continue
            leaving = (way.element, way.exit)
            if leaving in found.read_at:
                yield signal, further, found.read_at[leaving], True
            else:
                stack.append((further, found.beyond[leaving]))


def lies_for(way: Way, found: Railway) -> Lies:
    return next(lies for w, lies in found.ways[way.element, way.entry] if w == way)


def _can_lie(ways: Sequence[Way], found: Railway) -> bool:
    positions: dict[str, str] = {}
    return all(
        positions.setdefault(drive, position) == position
        for way in ways
        for drive, position in lies_for(way, found)
    )


def _add_route(route: PlainRoute, overlaps: Mapping[str, tuple[str, ...]], found: Railway) -> None:
    route.number = len(found.routes)
    route.along = tuple(found.section_of[w.element] for w in route.ways)
    route.sections = tuple(dict.fromkeys(route.along))
    for way in route.ways:
        route.positions |= dict(lies_for(way, found))
    if route.at_signal and route.end in overlaps and not route.calling_on:
        elements = overlaps[route.end]
        beyond = dict.fromkeys(found.section_of[e] for e in elements)
        route.overlap = tuple(s for s in beyond if s not in route.sections)
        route.overlap_positions = _overlap_positions(route.end, elements, found)
    found.routes.append(route)


def _overlap_positions(signal: str, elements: Sequence[str], found: Railway) -> dict[str, str]:
    """Where drives lie for the way named; at its far end, what every way on needs."""
    needs: dict[str, str] = {}
    end = found.signals[signal][1]
    for place, element in enumerate(elements):
        options = found.ways[end]
        if place + 1 < len(elements):
            options = [
                (way, lies)
                for way, lies in options
                if found.beyond[way.element, way.exit][0] == elements[place + 1]
            ]
        common = set(options[0][1]).intersection(*(lies for _, lies in options))
        needs |= dict(common)
        way = options[0][0]
        end = found.beyond[element, way.exit]
    return needs


def _meant(way: t.RouteWay, start: str, end: str, ways: Sequence[Way]) -> bool:
    if str(way.start) != start or str(way.end) not in (end, ways[-1].element):
        return False
    place = 0
    for via in way.via:
        names = (str(via.leg),) if via.leg else None
        while place < len(ways):
            here = ways[place]
            if here.element == str(via.element) and (
                names is None or names[0] in (here.entry, here.exit)
            ):
                break
            place += 1
        else:
            return False
        if names is None:
            place += 1
    return True


def route_of(ref: t.RouteRef, found: Railway) -> PlainRoute:
    """The route that words of the layout mean."""
    return _routes_meant(ref, found)[0]


def _routes_meant(ref: t.RouteRef, found: Railway) -> list[PlainRoute]:
    if isinstance(ref, t.RouteByName):
        return [r for r in found.routes if r.name == str(ref.name)]
    meant = [
        r
        for r in found.routes
        if r.calling_on == ref.calling_on and _meant(ref, r.start, r.end, r.ways)
    ]
    return [r for r in meant if r.end == str(ref.end)] or meant


def meaning(words: str, found: Railway) -> list[int]:
    """The numbers of the routes that words could mean."""
    program, _ = load_text(f"expect {words} with {words}\n", "words.crank")
    return [route.number for route in _routes_meant(program.of(t.ExpectLine)[0].routes[0], found)]


# ---------------------------------------------------------------------- rules


def _rules(program: Program, found: Railway) -> None:
    lines = program.of(t.LockingLine)
    found.derived = lines[0].derive if lines else True
    found.drives_need_clear = found.derived
    release = program.of(t.ReleaseLine)
    found.by_section = release[0].by_section if release else found.derived
    if found.derived:
        for route in found.routes:
            _every_position(route)
            route.clear |= dict.fromkeys((*route.berth_or_all, *route.overlap))
    for line in lines:
        for rule in line.rules:
            _rule(rule, found)
    for expect in program.of(t.ExpectLine):
        if expect.never:
            one, other = (route_of(ref, found).number for ref in expect.routes)
            found.never.append((one, other))


def _every_position(route: PlainRoute) -> None:
    route.needs |= dict(route.demands())


def _rule(rule: t.Rule, found: Railway) -> None:
    match rule:
        case t.EveryPositions():
            for route in found.routes:
                _every_position(route)
        case t.EverySectionsClear():
            for route in found.routes:
                route.clear |= dict.fromkeys((*route.berth_or_all, *route.overlap))
        case t.EveryDriveClear():
            found.drives_need_clear = True
        case t.OnlyOneRule():
            numbers = [route_of(ref, found).number for ref in rule.routes]
            for place, one in enumerate(numbers):
                found.locks += [(one, other, ()) for other in numbers[place + 1 :]]
        case t.OnlyOneOverRule():
            for name in map(str, rule.places):
                section = found.section_of.get(name, name)
                over = [route.number for route in found.routes if section in route.sections]
                for place, one in enumerate(over):
                    found.locks += [(one, other, ()) for other in over[place + 1 :]]
        case t.LocksRule():
            one = route_of(rule.route, found).number
            when = tuple((_thrown(d.drive, found), str(d.position)) for d in rule.when)
            found.locks += [(one, route_of(ref, found).number, when) for ref in rule.others]
        case t.NeedsRule():
            for need in rule.needs:
                _need(route_of(rule.route, found), need, found)


def _need(route: PlainRoute, need: t.NeedWord | t.NeedRoute, found: Railway) -> None:
    if isinstance(need, t.NeedRoute):
        route.needs_set.append(route_of(need.route, found).number)
    elif need.part is None and str(need.word) == "set":
        named = next(r for r in found.routes if r.name == str(need.name))
        route.needs_set.append(named.number)
    elif need.part is None and str(need.word) == "clear":
        name = str(need.name)
        route.clear[found.section_of.get(name, name)] = None
    else:
        drive = t.DriveName(need.span, need.name, need.part)
        route.needs[_thrown(drive, found)] = str(need.word)


def conflict(one: PlainRoute, other: PlainRoute) -> bool:
    """Whether two routes conflict: by track, by overlap, or by a drive."""
    if set(one.sections) & set(other.sections):
        return True
    if into_overlap(one, other) or into_overlap(other, one):
        return True
    return any(d == e and p != q for d, p in one.demands() for e, q in other.demands())


def into_overlap(one: PlainRoute, other: PlainRoute) -> bool:
    """Whether one leads into the overlap of the other, and is not its way on."""
    return one.start != other.end and bool(set(one.sections) & set(other.overlap))
