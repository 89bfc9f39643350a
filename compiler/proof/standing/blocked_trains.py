"""Where trains that stand at signals block each other, though the locking is sound.

Trains that fill every road of a ring, or face each other on a single line, wait for ever: each
way on of each of them needs track clear on which another stands. That is so on any railway, and
is no fault of the locking; whoever runs the trains should know the places.

They are found as deadlocks are in an operating system, by graph reduction (R. C. Holt, "Some
deadlock properties of computer systems", 1972). A train stands in every section in which one
may stand, before one signal or another; those that can go on are taken away, again and again;
what is left is every train that can be blocked at all, and nothing is left if none can. Out of
these a small set is taken in which each waits only for others of the set, and of that no train
can be left out. Trains that stand at other places are not looked at, nor those under way.

How they come there is looked for from the end: which of them can come last, past all others;
which before that, past the rest. What stands there can only be in the way of others, so
whichever is found first to come last does no harm. The way of each is sought breadth-first
over routes.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from bellcrank.layout.layout_model import Layout, Leg
from bellcrank.machine.locking import Locking
from bellcrank.routes.arrivals import first_from_edge, stretch_before
from bellcrank.routes.ends import left_behind
from bellcrank.routes.route_model import Route, RouteTable
from bellcrank.routes.track_search import signals_by_joint

MOST_ROUTES = 10_000
"""Routes of a layout in which blocked trains are looked for."""

MOST_TRAINS = 40
"""Trains of a set that is made smaller, and of which it is told how they come there."""

MOST_SETS = 30
"""Sets out of which the smallest is taken."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a train stands whole: its section, and the signals that it can obey there, the one
    that it faces or, once it has turned back, the one behind it."""

    section: str
    signals: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Waiting:
    """A train that is blocked, in a section before a signal.

    blocks: for each route on from there a section that it needs clear and in which another of
        the trains stands.
    goes_back: a route by which it could go back instead, or None.
    """

    section: str
    signal: str
    blocks: tuple[tuple[str, str], ...]
    goes_back: str | None


@dataclass(frozen=True, slots=True)
class Blocked:
    """Trains that block each other.

    story: how they come there, and what is refused then, as the lines of a rehearsal.
    """

    waiting: tuple[Waiting, ...]
    story: tuple[str, ...]

    @property
    def for_good(self) -> bool:
        """Whether none of them can go back either."""
        return all(train.goes_back is None for train in self.waiting)


@dataclass(frozen=True, slots=True)
class BlockedSearch:
    """What became of a search. complete: whether it would have found any that there are."""

    found: Blocked | None
    complete: bool


def blocked_trains(layout: Layout, table: RouteTable, locking: Locking) -> BlockedSearch:
    """A small set of trains that can come to block each other."""
    if len(table.routes) > MOST_ROUTES:
        return BlockedSearch(None, complete=False)
    railway = _Railway(layout, table, locking)
    left = railway.reduced(railway.standing)
    if not left:
        return BlockedSearch(None, complete=True)
    for some in railway.small_sets(left):
        waiting = railway.waiting(some)
        coming = railway.coming_to({train.section: train.signal for train in waiting})
        if coming is not None:
            refused = [f"expect {r} refused because of {s}" for w in waiting for r, s in w.blocks]
            return BlockedSearch(Blocked(waiting, (*coming, *refused)), complete=True)
    return BlockedSearch(None, complete=False)


class _Railway:
    """Trains that stand, and the routes by which they go on.

    needs: the sections that each route needs clear. passes: those and the sections of points
        that may have to be thrown for it.
    never_alone: routes that no train takes on its way to where it is blocked.
    approach: for each edge that lets trains in, the sections up to the first signal, none if
        that stands at the edge itself, and that signal.
    places: where each signal is faced by a train that stands before it.
    standing: for each section in which a train may stand the signals that it may face there,
        of which routes lead on. waiting_for: for each section those of which a way on needs it.
    """

    def __init__(self, layout: Layout, table: RouteTable, locking: Locking) -> None:
        self.layout = layout
        self.at = signals_by_joint(layout)
        self.onward: dict[str, list[Route]] = defaultdict(list)
        self.needs: dict[str, set[str]] = defaultdict(set)
        for need in locking.needs_clear:
            self.needs[need.route].add(need.section)
        self.passes: dict[str, set[str]] = {}
        for route in table.routes.values():
            self.onward[route.start].append(route)
            thrown = {
                layout.section_of[element]
                for drive in route.demands
                for element in layout.drives[drive].elements
            }
            self.passes[route.name] = self.needs[route.name] | thrown
        # With a train called on two would stand there; what needs another route set needs more
        # than clear track.
        self.never_alone = {r.name for r in table.routes.values() if r.calling_on}
        self.never_alone |= {need.route for need in locking.needs_set}
        self.approach: dict[str, tuple[tuple[str, ...], str]] = {}
        for edge in layout.edges:
            first = first_from_edge(edge, layout, self.at)
            if first is not None:
                sections = dict.fromkeys(layout.section_of[leg.element] for leg in first.entered)
                self.approach[edge] = (tuple(sections), first.signal)
        self.ends = {route.name: self._end_of(route) for route in table.routes.values()}
        self.places: dict[str, dict[Place, None]] = defaultdict(dict)
        for place in (*self.ends.values(), *map(self.before, layout.signals)):
            if place is not None:
                for signal in place.signals:
                    self.places[signal][place] = None
        kinds: dict[str, dict[str, None]] = defaultdict(dict)
        for signal in layout.signals:
            for place in self.places[signal]:
                if any(self.ways_on(place.section, signal)):
                    kinds[place.section][signal] = None
        self.standing = {s: tuple(kinds[s]) for s in layout.sections if s in kinds}
        self.waiting_for: dict[str, list[str]] = defaultdict(list)
        for section, signals in self.standing.items():
            for signal in signals:
                for route in self.ways_on(section, signal):
                    for needed in self.needs[route.name]:
                        self.waiting_for[needed].append(section)

    def _end_of(self, route: Route) -> Place | None:
        """Where a route leaves its train; None if that is off the layout."""
        if route.end_kind == "edge":
            return None
        signals = [route.end] if route.end_kind == "signal" else []
        behind = self.at.get(left_behind(route.ways, self.layout, self.at))
        if behind is not None:
            signals.append(behind.name)
        return Place(route.berth, tuple(signals))

    def before(self, signal: str) -> Place | None:
        """Where a train that was put down before a signal stands, or one that has come up to
        it from an edge."""
        where = self.layout.signals[signal]
        entered = stretch_before(where, self.layout, self.at)
        if entered is None or not isinstance(where.before, Leg):
            return None
        behind = self.at.get(entered)
        signals = (signal,) if behind is None else (signal, behind.name)
        return Place(self.layout.section_of[where.before.element], signals)

    def ways_on(self, section: str, signal: str) -> Iterator[Route]:
        """The routes by which a train goes on past a signal, except those over its own
        section, which it can never take."""
        return (r for r in self.onward[signal] if section not in self.needs[r.name])

    # ------------------------------------------------------------- who is blocked

    def _faced(self, section: str, among: set[str]) -> str | None:
        """A signal past which a train in a section cannot go on, others standing in theirs:
        the ways on need nothing of its own section."""
        for signal in self.standing[section]:
            if all(self.needs[r.name] & among for r in self.ways_on(section, signal)):
                return signal
        return None

    def reduced(self, sections: Iterable[str]) -> list[str]:
        """The sections in which trains are blocked if one stands in each."""
        left = set(sections)
        order = [section for section in self.standing if section in left]
        ahead = deque(order)
        while ahead:
            section = ahead.popleft()
            if section in left and self._faced(section, left) is None:
                left.remove(section)
                ahead += self.waiting_for[section]
        return [section for section in order if section in left]

    def small_sets(self, left: list[str]) -> Iterator[list[str]]:
        """Sets that are blocked among themselves, small ones first, each once."""
        closed = sorted((self._closure(s, left) for s in left[:MOST_SETS]), key=len)
        small = [self._smallest(some) for some in closed if len(some) <= MOST_TRAINS]
        yield from sorted({tuple(some): some for some in small}.values(), key=len)

    def _closure(self, section: str, left: list[str]) -> list[str]:
        """A train, one that blocks each of its ways on, one that blocks each of theirs …"""
        found = {section}
        order = {section: place for place, section in enumerate(left)}
        among = set(left)
        ahead = deque([section])
        while ahead:
            here = ahead.popleft()
            for route in self.ways_on(here, self._faced(here, among) or ""):
                blocking = self.needs[route.name] & among
                if not blocking & found:
                    other = min(blocking, key=order.__getitem__)
                    found.add(other)
                    ahead.append(other)
        return self.reduced(found)

    def _smallest(self, some: list[str]) -> list[str]:
        """What is left when each that can is left out."""
        for section in some:
            fewer = self.reduced(s for s in some if s != section)
            if fewer:
                return self._smallest(fewer)
        return some

    def waiting(self, some: list[str]) -> tuple[Waiting, ...]:
        """Each train of a set, with what it waits for."""
        found = []
        for section in some:
            others = [s for s in some if s != section]
            signal = self._faced(section, set(some))
            assert signal is not None, "the set is reduced"
            blocks = tuple(
                (route.name, next(s for s in others if s in self.needs[route.name]))
                for route in self.ways_on(section, signal)
            )
            back = [
                route.name
                for place in self.places[signal]
                if place.section == section
                for other in place.signals
                if other != signal
                for route in self.ways_on(section, other)
                if not self.needs[route.name].intersection(others)
            ]
            found.append(Waiting(section, signal, blocks, back[0] if back else None))
        return tuple(found)

    # -------------------------------------------------------- how they come there

    def coming_to(self, goals: Mapping[str, str]) -> tuple[str, ...] | None:
        """Lines by which one train after the other comes to its section and signal, while
        those before stand in theirs; None if they cannot.

        goals: the signal that is faced in each section.
        """
        parked = dict(goals)
        lines: tuple[str, ...] = ()
        while parked:
            last = self._last_of(parked)
            if last is None:
                return None
            section, coming = last
            del parked[section]
            lines = (*coming, *lines)
        return lines

    def _last_of(self, parked: Mapping[str, str]) -> tuple[str, tuple[str, ...]] | None:
        """A train that can come to its place past all others, from an edge if one can, and
        how."""
        for by_hand in (False, True):
            for section, signal in reversed(list(parked.items())):
                others = {s for s in parked if s != section}
                lines = self._coming(section, signal, others, by_hand=by_hand)
                if lines is not None:
                    return section, lines
        return None

    def _coming(
        self, section: str, signal: str, occupied: set[str], *, by_hand: bool
    ) -> tuple[str, ...] | None:
        """Lines by which one train comes to a place past others that stand, breadth-first."""
        ahead: deque[tuple[Place | None, str, tuple[str, ...]]] = deque()
        for edge, (sections, first) in self.approach.items():
            if not sections:
                ahead.append((None, first, ()))
            elif not occupied.intersection(sections):
                ahead.append((self.before(first), first, (f"train comes in from {edge}", "go on")))
        for name in self.layout.signals if by_hand else ():
            place = self.before(name)
            if place is not None and not occupied & {place.section, *self._before(place.section)}:
                ahead.append((place, name, (f"train stands before {name}",)))
        seen: set[tuple[Place | None, str]] = set()
        while ahead:
            place, facing, lines = ahead.popleft()
            if (place, facing) in seen:
                continue
            seen.add((place, facing))
            if place is not None and place.section == section and signal in place.signals:
                turned = (f"train in {section} turns back",) if facing != signal else ()
                return (*lines, *turned)
            for start in place.signals if place is not None else (facing,):
                for route in self.onward[start]:
                    end = self.ends[route.name]
                    own = place is not None and place.section in self.needs[route.name]
                    if end is None or own or route.name in self.never_alone:
                        continue
                    if self.passes[route.name] & occupied:
                        continue
                    on = [f"request {route.name}", "go on"]
                    if place is None:
                        on = [on[0], "wait", f"train passes {facing}", "go on"]
                    elif start != facing:
                        on = [f"train in {place.section} turns back", *on]
                    faces = route.end if route.end_kind == "signal" else ""
                    ahead.append((end, faces, (*lines, *on)))
        return None

    def _before(self, section: str) -> Iterator[str]:
        """The sections from which a train comes into one on its way from an edge."""
        for sections, _ in self.approach.values():
            if section in sections:
                yield from sections[: sections.index(section)]
