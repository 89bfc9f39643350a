"""What interlocking sees of a simulated railway, and what it grants: requests and releases."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise

from element_state import IDLE, Assumption, Stage, State
from plain_railway import Lies, PlainRoute, Railway, conflict, into_overlap


@dataclass
class Sight:
    """What can be seen of a railway. dropped: assumptions that do not hold."""

    railway: Railway
    dropped: frozenset[Assumption] = frozenset()

    def occupied(self, state: State, section: str) -> bool:
        """Whether a train is in a section, or vehicles stand there."""
        of = self.railway.section_of
        return any(
            of[way.element] == section for train in state.trains.values() for way in train.body
        ) or any(of[element] == section for element in state.standing)

    def clear(self, state: State, section: str) -> bool:
        """Whether a section is taken to be clear."""
        if section in self.railway.undetected:
            blind = "operator looks" in self.dropped
        else:
            blind = "detection tells the truth" in self.dropped
        return blind or not self.occupied(state, section)

    def lies(self, state: State, drive: str, position: str) -> bool:
        return state.drives[drive] == position and drive not in state.moving

    def under_way(self, state: State) -> Iterator[tuple[PlainRoute, Stage]]:
        for route, stage in zip(self.railway.routes, state.stages, strict=True):
            if stage.name == "way":
                yield route, stage

    def overlap_in(self, state: State, section: str) -> bool:
        """Whether the overlap of a set route lies in a section."""
        for route, stage in zip(self.railway.routes, state.stages, strict=True):
            if section in route.overlap and stage != IDLE:
                gone_on = stage.name == "way" and stage.place >= len(route.ways)
                if not gone_on:
                    return True
        return False

    def coming_towards(self, state: State, section: str) -> bool:
        """Whether a train on its way in from an edge will run into a section before it reads
        a signal."""
        of = self.railway.section_of
        for approach in self.railway.approach.values():
            for place, element in enumerate(approach):
                if of[element] != section:
                    continue
                for before in approach[:place]:
                    if of[before] != section and self.front_on(state, before, approach):
                        return True
        return False

    def front_on(self, state: State, element: str, approach: tuple[str, ...]) -> bool:
        """Whether a front is on an element and heads along the approach."""
        following = approach[approach.index(element) + 1]
        for train in state.trains.values():
            front = train.body[-1]
            if front.element == element and not train.leaving:
                beyond = self.railway.beyond[front.element, front.exit]
                if beyond[0] == following:
                    return True
        return False

    def ends_here(self, route: PlainRoute, stage: Stage) -> bool:
        """Whether a train that is under way has come to where its route ends."""
        return self.is_end(route, max(stage.place, 0))

    def is_end(self, route: PlainRoute, here: int) -> bool:
        """Whether a place on the way of a route is where it ends."""
        if here >= len(route.ways) - 1:
            return True
        return all(s == route.sections[-1] for s in route.along[here:]) and not any(
            (way.element, way.exit) in self.railway.read_at
            or (beyond.element, beyond.entry) in self.railway.read_at
            for way, beyond in pairwise(route.ways[here:])
        )


@dataclass
class Interlocking(Sight):
    """Whether requests are granted, and how far routes are released.

    apart: for each route those that it is locked with, and the positions in which alone
        the rule counts.
    """

    apart: dict[int, list[tuple[int, Lies]]] = field(init=False, default_factory=dict)
    conditional: list[tuple[int, int, Lies]] = field(init=False, default_factory=list)
    needed_by: dict[int, list[int]] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        rail = self.railway
        locks = list(rail.locks)
        if rail.derived:
            locks += [
                (a.number, b.number, ())
                for i, a in enumerate(rail.routes)
                for b in rail.routes[i + 1 :]
                if conflict(a, b)
            ]
        for one, other, when in locks:
            self.apart.setdefault(one, []).append((other, when))
            self.apart.setdefault(other, []).append((one, when))
        self.conditional = [lock for lock in locks if lock[2]]
        for route in rail.routes:
            for other in route.needs_set:
                self.needed_by.setdefault(other, []).append(route.number)

    def granted(self, state: State, route: PlainRoute) -> bool:
        """Whether a request is granted: every rule in force would hold with the route set."""
        rail = self.railway
        if state.stages[route.number] != IDLE:
            return False
        if rail.derived:
            if any(section in state.held for section in route.sections):
                return False
            for section in route.overlap:
                holder = state.held.get(section)
                if holder is not None and state.stages[holder].name == "way":
                    return False
            if any(self.coming_towards(state, s) for s in (*route.sections, *route.overlap)):
                return False
        if not all(self.clear(state, section) for section in route.clear):
            return False
        if any(state.stages[other] == IDLE for other in route.needs_set):
            return False
        then = {**state.drives, **route.needs}
        for other, when in self.apart.get(route.number, ()):
            if all(then[drive] == position for drive, position in when) and self.in_the_way(
                state, rail.routes[other], route
            ):
                return False
        for one, other, when in self.conditional:
            if route.number in (one, other) or not any(d in route.needs for d, _ in when):
                continue
            both = state.stages[one] != IDLE and state.stages[other] != IDLE
            now = all(state.drives[drive] == position for drive, position in when)
            if both and not now and all(then[drive] == position for drive, position in when):
                return False
        for drive, position in route.needs.items():
            if state.drives[drive] == position:
                continue
            if rail.drives_need_clear and not all(
                self.clear(state, rail.section_of[e]) for e in rail.on_drive[drive]
            ):
                return False
            for other_route in rail.routes:
                needs = other_route.needs.get(drive, position)
                if needs != position and self.holds(state, other_route, drive):
                    return False
        return True

    def in_the_way(self, state: State, other: PlainRoute, route: PlainRoute) -> bool:
        """Whether a route that is locked with another stands in its way: until it is
        released; section by section, until the last section on which they meet is."""
        stage = state.stages[other.number]
        if stage == IDLE:
            return False
        meeting = self.meeting(other, route)
        if not meeting or not self.railway.released_by_section(other):
            return True
        return not all(self.let_go(state, other, section) for section in meeting)

    def meeting(self, other: PlainRoute, route: PlainRoute) -> set[str]:
        """The sections of another route on which it meets this one; none if it must be
        released altogether."""
        if into_overlap(route, other):
            return set()
        found = set(other.sections) & {*route.sections, *route.overlap}
        mine = dict(route.demands())
        for drive, position in other.demands():
            if mine.get(drive, position) != position:
                sections = self.sections_of(other, drive)
                if not sections:
                    return set()
                found |= sections
        return found

    def sections_of(self, route: PlainRoute, drive: str) -> set[str]:
        """The sections on a route's own way in which points of a drive are; none if it needs
        the drive for its overlap or its flank."""
        if drive in route.overlap_positions or drive in route.flank:
            return set()
        if drive not in route.positions:
            return set()
        of = self.railway.section_of
        return {of[e] for e in self.railway.on_drive[drive]} & set(route.sections)

    def holds(self, state: State, route: PlainRoute, drive: str) -> bool:
        """Whether a route holds a drive that it needs: it is set, and has not released it."""
        if state.stages[route.number] == IDLE:
            return False
        sections = self.sections_of(route, drive)
        if not sections or not self.railway.released_by_section(route):
            return True
        return not all(self.let_go(state, route, section) for section in sections)

    def let_go(self, state: State, route: PlainRoute, section: str) -> bool:
        """Whether a route has released a section behind its train. That another has taken it
        over is no release."""
        return self.beyond(state, route, section) and state.held.get(section) != route.number

    def beyond(self, state: State, route: PlainRoute, section: str) -> bool:
        """Whether the front of the route's train is beyond a section of it."""
        stage = state.stages[route.number]
        last = max(i for i, s in enumerate(route.along) if s == section)
        return stage.name == "way" and stage.place > last

    def arrived(self, state: State, route: PlainRoute) -> bool:
        """Whether its train is in the last section and in none before it that is still held."""
        stage = state.stages[route.number]
        if stage.name != "way":
            return False
        first_of_last = route.along.index(route.sections[-1])
        if stage.place < first_of_last or not self.ends_here(route, stage):
            return False
        of = self.railway.section_of
        before = {s for s in route.sections[:-1] if state.held.get(s) == route.number}
        if any(of[element] in before for element in state.standing):
            return False  # what the train left behind
        train = state.trains.get(stage.train)
        if train is None:
            return True
        return not train.coming_from and not any(of[way.element] in before for way in train.body)
