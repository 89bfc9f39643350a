"""What can stand unsafely: the smallest unsafe sets of routes, and the rule missing in each.

States in which a property is violated are enumerated by how many routes they need, the
fewest first, under a cardinality constraint that is loosened step by step. What a state
shows to be unsafe is ruled out by a blocking clause before the next state is asked for.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

import z3

from bellcrank.diagnostics import Span
from bellcrank.layout.layout_model import Layout, Position
from bellcrank.machine.locking import Locking, Locks, Needs
from bellcrank.proof.standing.obligations import PropertyName
from bellcrank.proof.standing.propositional import Clause
from bellcrank.proof.standing.smt_script import Script
from bellcrank.proof.standing.z3_terms import Answer, Solver, is_true
from bellcrank.proof.verdict import Hazard
from bellcrank.routes.route_model import Route, RouteTable
from bellcrank.routes.sentences import why_conflict

MOST_HAZARDS = 200
"""Unsafe sets looked for before the rest is left uncounted."""


@dataclass(frozen=True, slots=True)
class HazardSearch:
    """What is looked through: a locking, and the properties that it does not hold.

    script, solver: over all routes and rules. barred: routes that can never be set.
    """

    layout: Layout
    table: RouteTable
    locking: Locking
    script: Script
    solver: Solver
    refuted: Collection[PropertyName]
    barred: Collection[str] = ()

    def hazards(self) -> tuple[tuple[Hazard, ...], bool]:
        """Unsafe sets, the smallest first, and whether these are all."""
        violated = [self.script.violations[name] for name in self.refuted]
        self.solver.z3.push()
        self.solver.z3.add(self.solver.any_of(tuple(violated)))
        self.solver.z3.add(*map(self.solver.term, self.script.unset(self.barred)))
        found, answer = self._enumerated()
        self.solver.z3.pop()
        complete = answer == "unsat" and len(found) < MOST_HAZARDS
        order = {name: index for index, name in enumerate(self.table.routes)}
        found.sort(key=lambda h: (len(h.routes), [order[r] for r in h.routes], h.missing))
        return tuple(found), complete

    def _enumerated(self) -> tuple[list[Hazard], Answer]:
        """The hazards as they are found, and the last answer: "unsat" if there are no more."""
        routes = [self.solver.term(literal) for literal in self.script.routes.values()]
        found: list[Hazard] = []
        answer: Answer = "sat"
        for most in range(1, len(routes) + 1):
            if len(found) >= MOST_HAZARDS or answer == "unknown":
                break
            if most > 2 and self.solver.ask() == "unsat":
                return found, "unsat"
            self.solver.z3.push()
            self.solver.z3.add(z3.AtMost(*routes, most))
            ruled_out = []
            while len(found) < MOST_HAZARDS and (answer := self.solver.ask()) == "sat":
                for hazard, blocking in self._in_state(self.solver.z3.model()):
                    found.append(hazard)
                    ruled_out.append(self.solver.any_of(blocking))
                    self.solver.z3.add(ruled_out[-1])
            self.solver.z3.pop()
            # What was found is out of the question for larger sets as well.
            self.solver.z3.add(*ruled_out)
        return found, answer

    def _in_state(self, model: z3.ModelRef) -> Iterator[tuple[Hazard, Clause]]:
        """The violations in one state, each with the clause that rules it out."""
        routes = self.script.routes
        held = {name for name, literal in routes.items() if is_true(literal, model)}
        standing = [route for name, route in self.table.routes.items() if name in held]
        for index, route in enumerate(standing):
            for violates, where, position in self._needed(route):
                if not is_true(self.script.positions[position], model):
                    hazard = self._lies_wrong(route, violates, where, position, model)
                    yield hazard, (~routes[route.name], self.script.positions[position])
            for other in standing[index + 1 :]:
                meeting = self._meet(route, other)
                if meeting is not None:
                    yield meeting, (~routes[route.name], ~routes[other.name])

    def _needed(self, route: Route) -> Iterator[tuple[PropertyName, str, Position]]:
        """The positions that a route needs, as far as they are not proved to be kept."""
        wanted: tuple[tuple[PropertyName, str, tuple[Position, ...]], ...] = (
            ("positions", "on its way", route.positions),
            ("overlaps", "in its overlap", route.overlap_positions),
            ("flanks", "on its flank", route.flank),
        )
        for name, where, positions in wanted:
            if name in self.refuted:
                yield from ((name, where, position) for position in positions)

    def _lies_wrong(
        self,
        route: Route,
        violates: PropertyName,
        where: str,
        needed: Position,
        model: z3.ModelRef,
    ) -> Hazard:
        drive, position = needed
        lies = next(
            other
            for other in self.layout.drives[drive].positions
            if is_true(self.script.positions[drive, other], model)
        )
        return Hazard(
            violates,
            (route.name,),
            self._with_needed((route.name,)),
            f"{route.name} can be set while {drive}, {where}, lies {lies} and not {position}",
            Needs(route.name, drive, position),
            self._written_for(route.name, drive),
        )

    def _written_for(self, route: str, drive: str) -> Span | None:
        """Where it is written how a drive must lie for a route, if it is."""
        for need in self.locking.needs:
            if need.route == route and need.drive == drive and need.span:
                return need.span
        return None

    def _meet(self, one: Route, other: Route) -> Hazard | None:
        """The hazard that two routes, both set, are to each other; None if they are none."""
        violates: PropertyName
        if "track" in self.refuted and set(one.sections) & set(other.sections):
            violates = "track"
        elif "overlaps" in self.refuted and (
            one.overlap_entered_by(other) or other.overlap_entered_by(one)
        ):
            violates = "overlaps"
        else:
            return None
        why = why_conflict(one, other, self.layout, self.table)
        concerned = (one.name, other.name)
        return Hazard(
            violates,
            concerned,
            self._with_needed(concerned),
            f"{one.name} and {other.name} can both be set: {why}",
            Locks(one.name, other.name),
        )

    def _with_needed(self, routes: Sequence[str]) -> tuple[str, ...]:
        """Routes with those that must be set for them to be set; these may since have been
        used and released."""
        chain = list(routes)
        for name in chain:
            chain += [
                need.other
                for need in self.locking.needs_set
                if need.route == name and need.other not in chain
            ]
        return tuple(chain)
