"""The variables of a machine, and what is looked up again and again to build it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from bellcrank.layout.layout_model import Drive, Edge, Layout, Leg, Position, Signal
from bellcrank.machine.locking import Locking
from bellcrank.machine.machine_model import (
    Clause,
    Is,
    OnPassage,
    Variable,
    is_,
    is_not,
)
from bellcrank.machine.parts import (
    Part,
    Parts,
    Passage,
    PassagesAsked,
    Step,
    all_parts,
    approach_from,
    coming_from,
)
from bellcrank.routes.route_model import Route, RouteTable

CLEAR = "clear"
STANDING = "vehicles standing"
MEETING = "two trains"
DERAILED = "off the rails"
FREE = "not held"
AT_STOP = "at stop"
PUT_BACK = "just put back to stop"
IDLE = "idle"
SET = "set"
CLOSING = "being cancelled"
GONE_ON = "its train has gone on"
INSIDE = "nothing outside"
OUTSIDE = "part of a train outside"


def here(passage: Passage) -> str:
    """A train is on the passage, its front with it."""
    return f"front, {passage.name}"


def passing(passage: Passage) -> str:
    """A train is on the passage, its front beyond."""
    return f"passing, {passage.name}"


def under_way(step: int) -> str:
    """The front of a route's train has come as far as this part of its way, from 1."""
    return f"train at {step}"


def moving(position: str) -> str:
    """A drive is being thrown to a position."""
    return f"to {position}"


@dataclass(slots=True)
class Frame:
    """A layout with its routes and rules, and the variables made for them.

    known: variables of another frame by name; of those that are equal here the same objects serve.
    approaches: for each edge that lets trains in, the passages up to the first signal.
    coming_from: for each section those from which a train comes into it on its way
        from an edge to the first signal.
    by_section, overlapping: the routes over each section, and with their overlap there.
    onward, ending: the routes from and up to each signal.
    crossing: for each leg, the routes that leave a part by it, and the step that
        they then come to.
    """

    layout: Layout
    table: RouteTable
    locking: Locking
    known: Mapping[str, Variable] = field(default_factory=dict)
    parts: Parts = field(init=False)
    coming_from: Mapping[str, tuple[str, ...]] = field(init=False)
    approaches: dict[str, tuple[Passage, ...]] = field(default_factory=dict)
    track: dict[str, Variable] = field(default_factory=dict)
    held: dict[str, Variable] = field(default_factory=dict)
    route: dict[str, Variable] = field(default_factory=dict)
    signal: dict[str, Variable] = field(default_factory=dict)
    drive: dict[str, Variable] = field(default_factory=dict)
    edge: dict[str, Variable] = field(default_factory=dict)
    steps: dict[str, tuple[Step, ...]] = field(default_factory=dict)
    by_section: dict[str, list[Route]] = field(default_factory=lambda: defaultdict(list))
    overlapping: dict[str, list[Route]] = field(default_factory=lambda: defaultdict(list))
    onward: dict[str, list[Route]] = field(default_factory=lambda: defaultdict(list))
    crossing: dict[Leg, list[tuple[Route, int]]] = field(default_factory=lambda: defaultdict(list))
    ending: dict[str, list[Route]] = field(default_factory=lambda: defaultdict(list))
    needs: dict[str, dict[str, str]] = field(default_factory=lambda: defaultdict(dict))
    sections_of_drive: dict[str, tuple[str, ...]] = field(default_factory=dict)
    named: dict[str, Variable] = field(default_factory=dict)
    _drive_sections: dict[tuple[str, str], int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        layout = self.layout
        asked = PassagesAsked(layout)
        self.parts = all_parts(asked)
        for name in layout.edges:
            approach = approach_from(name, asked)
            if approach is not None:
                self.approaches[name] = approach
        self.coming_from = coming_from(asked)
        for route in self.table.routes.values():
            self.steps[route.name] = self.parts.steps(route)
            self.onward[route.start].append(route)
            if route.end_kind == "signal":
                self.ending[route.end].append(route)
            for section in route.sections:
                self.by_section[section].append(route)
            for section in route.overlap_sections:
                self.overlapping[section].append(route)
            for number, step in enumerate(self.steps[route.name], start=1):
                if number < len(self.steps[route.name]):
                    self.crossing[step.exit].append((route, number + 1))
        for need in self.locking.needs:
            self.needs[need.route][need.drive] = need.position
        for drive in layout.drives.values():
            sections = dict.fromkeys(layout.section_of[e] for e in drive.elements)
            self.sections_of_drive[drive.name] = tuple(sections)
        self._variables()

    def _variables(self) -> None:
        layout = self.layout
        for part in self.parts.parts.values():
            trains = {}
            for passage in part.passages:
                trains[here(passage)] = OnPassage(passage, front=True)
                if isinstance(layout.joined.get(passage.exit), Leg | Edge):
                    trains[passing(passage)] = OnPassage(passage, front=False)
            wrong = [MEETING, DERAILED] if self.may_derail(part) else [MEETING]
            self.track[part.name] = Variable(
                f"track {part.name}",
                "track",
                part.name,
                (CLEAR, *trains, STANDING, *wrong),
                (CLEAR,),
                trains,
            )
        for section in layout.sections:
            names = [route.name for route in self.by_section[section]]
            self.held[section] = Variable(
                f"held {section}", "held", section, (FREE, *names), (FREE,)
            )
        for route in self.table.routes.values():
            stages = [IDLE, SET, CLOSING]
            stages += [under_way(k + 1) for k in range(len(self.steps[route.name]))]
            if route.overlap is not None:
                stages.append(GONE_ON)
            self.route[route.name] = Variable(
                f"route {route.name}", "route", route.name, tuple(stages), (IDLE,)
            )
        for name in layout.signals:
            shown = [route.name for route in self.onward[name]]
            self.signal[name] = Variable(
                f"signal {name}", "signal", name, (AT_STOP, PUT_BACK, *shown), (AT_STOP,)
            )
        for drive in layout.drives.values():
            values = [*drive.positions, *(moving(p) for p in drive.positions)]
            self.drive[drive.name] = Variable(
                f"drive {drive.name}", "drive", drive.name, tuple(values), drive.positions
            )
        entered = [*self.approaches]
        for name in entered:
            self.edge[name] = Variable(f"edge {name}", "edge", name, (INSIDE, OUTSIDE), (INSIDE,))
        groups = (self.track, self.edge, self.drive, self.signal, self.route, self.held)
        for group in groups:
            for of, variable in group.items():
                known = self.known.get(variable.name)
                if known == variable and known.trains == variable.trains:
                    group[of] = known
        self.named = {v.name: v for group in groups for v in group.values()}

    def may_derail(self, part: Part) -> bool:
        """Whether a train may come into a part to find that no way is set for it."""
        legs = (Leg(e, leg) for e in part.elements for leg in self.layout.elements[e].kind.legs)
        entered = (
            leg
            for leg in legs
            if isinstance(end := self.layout.joined.get(leg), Edge)
            or (isinstance(end, Leg) and self.parts.part_of[end.element] != part.name)
            or (end in self.parts.signals)
        )
        return any(all(p.positions for p in self.parts.by_entry[leg]) for leg in entered)

    # ------------------------------------------------------- literals and clauses

    def clear(self, section: str) -> list[Clause]:
        """That no train is in a section."""
        return [(is_(self.track[part], CLEAR),) for part in self.parts.in_section[section]]

    def occupied(self, section: str) -> Clause:
        """That a train is in a section."""
        found = []
        for part in self.parts.in_section[section]:
            variable = self.track[part]
            found.append(is_not(variable, CLEAR))
        return tuple(found)

    def lies(self, drive: str, position: str) -> Is:
        """That a drive lies in a position and is not moving."""
        return is_(self.drive[drive], position)

    def lies_or_goes(self, drive: str, position: str) -> Is:
        """That a drive lies in a position or is on its way there."""
        return is_(self.drive[drive], position, moving(position))

    def stages(self, route: str) -> list[str]:
        """The stages of a route in which its train is under way, in order."""
        return list(self.route[route].values[3:])

    def last_step(self, route: str, section: int) -> int:
        """The last step of a route in its section of this place."""
        return max(k for k, s in enumerate(self.steps[route], start=1) if s.section == section)

    def first_step(self, route: str, section: int) -> int:
        """The first step of a route in its section of this place."""
        return min(k for k, s in enumerate(self.steps[route], start=1) if s.section == section)

    def drive_section(self, route: Route, drive: str) -> int:
        """The place of the last section on a route's own way with points of a drive.

        0 if the route needs the drive beside its way as well: for overlap or flank.
        """
        known = self._drive_sections.get((route.name, drive))
        if known is None:
            known = self._drive_sections[route.name, drive] = self._drive_section(route, drive)
        return known

    def _drive_section(self, route: Route, drive: str) -> int:
        beside = dict((*route.overlap_positions, *route.flank))
        if drive in beside or not any(d == drive for d, _ in route.positions):
            return 0
        sections = [s for s in self.sections_of_drive[drive] if s in route.sections]
        return max((route.sections.index(s) + 1 for s in sections), default=0)

    def released_by_section(self, route: Route) -> bool:
        """Whether sections of a route are released one by one behind its train."""
        return self.locking.sectional and all(
            self.layout.sections[s].detected for s in route.sections
        )

    def into(self, entry: Leg) -> Iterator[tuple[Variable, frozenset[str]]]:
        """The track variable, and its values, of a train that reaches across the joint
        at a leg into the part beyond; nothing if no track is joined there."""
        before = self.layout.joined.get(entry)
        if isinstance(before, Leg):
            passages = self.parts.by_exit[before]
            if passages:
                variable = self.track[passages[0].part]
                yield variable, frozenset(passing(p) for p in passages)
        elif isinstance(before, Edge) and before.name in self.edge:
            yield self.edge[before.name], frozenset((OUTSIDE,))

    def nothing_into(self, entry: Leg) -> list[Clause]:
        """That no train reaches across the joint at a leg into the part beyond."""
        return [(is_not(variable, *sorted(values)),) for variable, values in self.into(entry)]

    def over(self, drive: Drive) -> dict[str, frozenset[str]]:
        """For each part with points of a drive, the values with a train over them, or with
        vehicles that stand, which may be anywhere on the part. A frog has a train over it only
        on the ways that lead over it."""
        found: dict[str, set[str]] = defaultdict(set)
        for element in drive.elements:
            part = self.parts.part_of[element]
            for passage in self.parts.parts[part].passages:
                if any(
                    way.element == element and (drive.frog is None or drive.name in dict(way.frogs))
                    for way in passage.ways
                ):
                    found[part] |= {here(passage), passing(passage)}
        return {
            part: frozenset(values.intersection(self.track[part].values)) | {STANDING}
            for part, values in sorted(found.items())
        }

    def signal_at(self, leg: Leg) -> Signal | None:
        return self.parts.signals.get(leg)

    def part(self, name: str) -> Part:
        return self.parts.parts[name]


def implies(conditions: Iterable[tuple[Variable, Iterable[str]]], then: Iterable[Is]) -> Clause:
    """The clause "if each variable has one of its values, then one of these holds"."""
    return (
        *(is_not(v, *values) for v, values in conditions),
        *then,
    )


def demands(route: Route) -> dict[str, tuple[Position, ...]]:
    """The drives a route needs and where, by what it needs them for."""
    return {"way": route.positions, "overlap": route.overlap_positions, "flank": route.flank}
