"""What the controller knows of a railway: its variables, and how what the machine asks of the
track reads in them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

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
from bellcrank.machine.machine_model import Clause, Event, Is, Variable
from bellcrank.routes.route_model import Route

SAID_CLEAR = "reported clear"
SAID_OCCUPIED = "reported occupied"
NOT_KNOWN = "not known"
STANDS_STILL = "its train has arrived, and its time runs"


def in_section(place: int) -> str:
    """The front of a route's train has been reported as far as this section, from 1."""
    return f"train in section {place}"


@dataclass(slots=True)
class View:
    """The variables of a controller.

    said: of each detected section, what was reported last.
    progress: how far a route has got, as far as reports tell.
    lamp: what a signal is to show. lying: where a drive is known to lie or was sent.
    held: the route that a section is held for; nothing but the controller changes it.
    """

    frame: Frame
    said: dict[str, Variable] = field(default_factory=dict)
    progress: dict[str, Variable] = field(default_factory=dict)
    lamp: dict[str, Variable] = field(default_factory=dict)
    lying: dict[str, Variable] = field(default_factory=dict)
    held: dict[str, Variable] = field(init=False)

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

    def as_far_as(self, route: Route, place: int) -> list[str]:
        """The values of its progress once its train has been seen in this section or beyond."""
        stages = [in_section(k) for k in range(place, len(route.sections) + 1)]
        further = (STANDS_STILL, GONE_ON)
        return stages + [v for v in further if v in self.progress[route.name].values]

    # -------------------------------------------------- what the machine asks

    def seen(self, clause: Clause, own: str | None) -> tuple[Clause, bool]:
        """A clause of the machine over what the controller has instead of the truth, from
        which it follows; and whether a part of it is seen by nobody but a person.

        own: the route that it is about.
        """
        literals = [self._literal(literal, own) for literal in clause]
        known = tuple(literal for literal in literals if literal is not None)
        return known, len(known) < len(literals)

    def looked_at(self, clause: Clause, own: str | None) -> Clause:
        """The same, with the truth where a person looks at it."""
        return tuple(self._literal(literal, own) or literal for literal in clause)

    def _literal(self, literal: Is, own: str | None) -> Is | None:
        variable = self.frame.named[literal.variable]
        match variable.kind:
            case "track":
                said = self.said.get(self.frame.part(variable.of).section)
                # Where nothing is, nothing is on its way from there either.
                return None if said is None else Is(said.name, frozenset((SAID_CLEAR,)))
            case "edge":
                return None
            case "route":
                route = self.frame.table.routes[variable.of]
                begun = SET in literal.values and under_way(1) not in literal.values
                if begun and route.name != own and not self.detected(route.sections[0]):
                    return None  # whether its train has gone by already
                return self._progress(variable.of, literal.values)
            case "signal":
                return Is(self.lamp[variable.of].name, literal.values)
            case "drive":
                return Is(self.lying[variable.of].name, literal.values)
            case _:
                return literal

    def _progress(self, route: str, stages: frozenset[str]) -> Is:
        """The front may have come further than was reported: by less than a section."""
        frame = self.frame
        steps = len(frame.steps[route])
        values = stages.intersection((IDLE, SET, CLOSING, GONE_ON))
        found = set(values)
        for place in range(1, len(frame.table.routes[route].sections) + 1):
            first = frame.first_step(route, place)
            if stages.issuperset(under_way(k) for k in range(first, steps + 1)):
                found.add(in_section(place))
        if under_way(steps) in stages:
            found.add(STANDS_STILL)
        progress = self.progress[route]
        return Is(progress.name, frozenset(found).intersection(progress.values))


def given_up(view: View, route: Route) -> dict[str, dict[str, str]]:
    """What becomes of the sections of a route that is released."""
    return {view.held[s].name: {route.name: FREE} for s in route.sections}


def known(clauses: Iterable[Clause], view: View, own: str) -> tuple[Clause, ...] | None:
    """Clauses of the machine over what the controller has; None if somebody has to look."""
    found = [view.seen(clause, own) for clause in clauses]
    if any(unseen for _, unseen in found):
        return None
    return tuple(dict.fromkeys(clause for clause, _ in found))


def known_or_looked_at(event: Event, view: View) -> tuple[Clause, ...]:
    """What the guard of an event asks of what the controller itself can tell."""
    found = [view.seen(clause, event.route) for clause in event.guard]
    return tuple(dict.fromkeys(clause for clause, unseen in found if not unseen))
