"""What the controller knows of a railway: its variables, and how what the machine asks of the
track reads in them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from bellcrank.machine.frame import (
    AT_STOP,
    CLOSING,
    FREE,
    GONE_ON,
    IDLE,
    PUT_BACK,
    SET,
    Frame,
    moving,
    under_way,
)
from bellcrank.machine.machine_model import Clause, Is, Variable, having, is_
from bellcrank.routes.route_model import Route

SAID_CLEAR = "reported clear"
SAID_OCCUPIED = "reported occupied"
NOT_KNOWN = "not known"
STANDS_STILL = "its train has arrived, and its time runs"


def in_section(place: int) -> str:
    """The front of a route's train has been reported as far as this section, from 1."""
    return f"train in section {place}"


def steps_from(first: int, last: int) -> list[str]:
    """The machine's stages of a route under way, from one step to another."""
    return [under_way(step) for step in range(first, last + 1)]


class Asked(NamedTuple):
    """What a guard of the machine asks, over what the controller has instead of the truth.

    told: clauses that reports tell, from which those of the machine follow.
    looked_at: the others, with the truth where only a person sees it.
    """

    told: tuple[Clause, ...]
    looked_at: tuple[Clause, ...]


@dataclass(slots=True)
class View:
    """The variables of a controller.

    said: of each detected section, what was reported last.
    progress: how far a route has got, as far as reports tell.
    lamp: what a signal is to show. lying: where a drive is known to lie or was sent.
    held: the route that a section is held for; nothing but the controller changes it.
    read: how clauses of the machine read that speak of no route, which read alike for every route.
    beyond: of routes that were asked for, what `_beyond` says.
    """

    frame: Frame
    said: dict[str, Variable] = field(default_factory=dict)
    progress: dict[str, Variable] = field(default_factory=dict)
    lamp: dict[str, Variable] = field(default_factory=dict)
    lying: dict[str, Variable] = field(default_factory=dict)
    held: dict[str, Variable] = field(init=False)
    read: dict[Clause, tuple[Clause, bool]] = field(default_factory=dict)
    beyond: dict[str, list[tuple[str, frozenset[str]]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        frame = self.frame
        self.held = frame.held
        for name, section in frame.layout.sections.items():
            if section.detected:
                values = (SAID_CLEAR, SAID_OCCUPIED)
                self.said[name] = Variable(f"report {name}", "report", name, values, values[:1])
        for route in frame.table.routes.values():
            stages = [IDLE, SET, CLOSING, *map(in_section, range(1, len(route.sections) + 1))]
            if self.timed(route):
                stages.append(STANDS_STILL)
            if route.overlap is not None:
                stages.append(GONE_ON)
            self.progress[route.name] = Variable(
                f"progress {route.name}", "progress", route.name, tuple(stages), (IDLE,)
            )
        for name in frame.layout.signals:
            shown = tuple(route.name for route in frame.onward[name])
            self.lamp[name] = Variable(
                f"lamp {name}", "lamp", name, (AT_STOP, PUT_BACK, *shown), (AT_STOP,)
            )
        for drive in frame.layout.drives.values():
            positions = (*drive.positions, *(moving(p) for p in drive.positions))
            self.lying[drive.name] = Variable(
                f"lying {drive.name}", "lying", drive.name, (NOT_KNOWN, *positions), (NOT_KNOWN,)
            )

    def variables(self) -> dict[str, Variable]:
        groups = (self.said, self.lying, self.lamp, self.progress, self.held)
        return {v.name: v for group in groups for v in group.values()}

    # --------------------------------------------------------------- routes

    def timed(self, route: Route) -> bool:
        """Whether a time runs before a route is released: that of its overlap, or that in
        which a train comes to stand, where it moves on within its last section."""
        last = len(route.sections)
        frame = self.frame
        steps = frame.last_step(route.name, last) - frame.first_step(route.name, last)
        return route.overlap is not None or steps > 0

    def passing_confirmed(self, route: Route) -> bool:
        """Whether a person may have to say that a train has passed the signal: no report tells
        where the first section is not detected, or vehicles may stand in the only one."""
        unseen = route.calling_on and len(route.sections) == 1
        return unseen or not self.detected(route.sections[0])

    def detected(self, section: str) -> bool:
        return section in self.said

    def detected_before(self, route: Route, place: int) -> int:
        """The place of the last detected section of a route before one; 0 if there is none."""
        before = range(place - 1, 0, -1)
        return next((k for k in before if self.detected(route.sections[k - 1])), 0)

    def detected_after(self, route: Route, place: int) -> int:
        """The place of the next detected section of a route; 0 if there is none."""
        after = range(place + 1, len(route.sections) + 1)
        return next((k for k in after if self.detected(route.sections[k - 1])), 0)

    def joins(self, route: Route, place: int) -> bool:
        """Whether a section of a route may be reported occupied before its train comes."""
        return route.calling_on and place == len(route.sections)

    def under_way(self, route: Route, first: int = 1) -> list[str]:
        """The stages of a route, as the machine has them, from a step on to the last."""
        gone = [GONE_ON] if route.overlap is not None else []
        return steps_from(first, len(self.frame.steps[route.name])) + gone

    def steps_in(self, route: Route, place: int) -> list[str]:
        """Its stages with the front in one of its sections."""
        name = route.name
        return steps_from(self.frame.first_step(name, place), self.frame.last_step(name, place))

    def overlaps_given_up(self, section: str) -> list[Clause]:
        """That no route keeps its overlap in a section."""
        routes = self.frame.overlapping[section]
        return [(is_(self.progress[route.name], IDLE, GONE_ON),) for route in routes]

    def as_far_as(self, route: Route, place: int) -> list[str]:
        """The values of its progress once its train has been seen in this section or beyond."""
        stages = [in_section(k) for k in range(place, len(route.sections) + 1)]
        further = (STANDS_STILL, GONE_ON)
        return stages + [v for v in further if v in self.progress[route.name].values]

    # -------------------------------------------------- what the machine asks

    def asked(self, clauses: Iterable[Clause], own: str | None) -> Asked:
        """What clauses of the machine ask of the controller, and of a person.

        own: the route that they are about.
        """
        told: dict[Clause, None] = {}
        looked_at: dict[Clause, None] = {}
        for clause in clauses:
            known = self.read.get(clause)
            if known is None:
                known = self._read(clause, own)
                if all(self.frame.named[variable].kind != "route" for variable, _ in clause):
                    self.read[clause] = known
            read, all_told = known
            (told if all_told else looked_at)[read] = None
        return Asked(tuple(told), tuple(looked_at))

    def _read(self, clause: Clause, own: str | None) -> tuple[Clause, bool]:
        """A clause of the machine over what the controller has, and whether it has all of it."""
        literals = [self._literal(literal, own) for literal in clause]
        both = zip(literals, clause, strict=True)
        return tuple([known or truth for known, truth in both]), None not in literals

    def _literal(self, literal: Is, own: str | None) -> Is | None:
        variable = self.frame.named[literal.variable]
        match variable.kind:
            case "track":
                said = self.said.get(self.frame.part(variable.of).section)
                # Where nothing is, nothing is on its way from there either.
                return None if said is None else is_(said, SAID_CLEAR)
            case "edge":
                return None
            case "route":
                route = self.frame.table.routes[variable.of]
                begun = SET in literal.values and under_way(1) not in literal.values
                if begun and route.name != own and not self.detected(route.sections[0]):
                    return None  # whether its train has gone by already
                return self._progress(variable.of, literal.values)
            case "signal":
                return having(self.lamp[variable.of], literal.values)
            case "drive":
                return having(self.lying[variable.of], literal.values)
            case _:
                return literal

    def _progress(self, route: str, stages: frozenset[str]) -> Is:
        """The front may have come further than was reported: by less than a section."""
        steps = len(self.frame.steps[route])
        found = set(stages.intersection((IDLE, SET, CLOSING, GONE_ON)))
        found.update([stage for stage, further in self._beyond(route) if stages >= further])
        if under_way(steps) in stages:
            found.add(STANDS_STILL)
        return is_(self.progress[route], *found)

    def _beyond(self, route: str) -> list[tuple[str, frozenset[str]]]:
        """For each section of a route the value of its progress with the front reported there,
        and the machine's stages from there on."""
        known = self.beyond.get(route)
        if known is None:
            steps = len(self.frame.steps[route])
            known = self.beyond[route] = [
                (in_section(k), frozenset(steps_from(self.frame.first_step(route, k), steps)))
                for k in range(1, len(self.frame.table.routes[route].sections) + 1)
            ]
        return known


def given_up(view: View, route: Route) -> dict[str, dict[str, str]]:
    """What becomes of the sections of a route that is released."""
    return {view.held[s].name: {route.name: FREE} for s in route.sections}
