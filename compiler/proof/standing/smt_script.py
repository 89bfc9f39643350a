"""Obligations and the locking in force as one formula that any solver can decide.

A script states the rules as clauses, and for each property a variable that is true
exactly when the property is violated. To show a property is to find that the rules
and the violation cannot hold together.

A script over some of the obligations holds only the routes they name and the rules
among those. Fewer rules allow more, so what is shown with them holds with all rules
too.

That a route needs another `set` counts only as it is asked for: the other may since have
been used by its train and be released. Such rules stand behind a literal of their own,
`asked`, which is assumed where it is asked what can be set and never where it is shown what
cannot stand.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from bellcrank.layout.layout_model import Layout, Position
from bellcrank.machine.locking import Locking, NeedsSet
from bellcrank.proof.standing.locking_clauses import (
    StandingRule,
    Variables,
    clause_of,
    drives_of,
    routes_of,
    standing_rules,
    variables_for,
)
from bellcrank.proof.standing.obligations import (
    SENTENCES,
    Apart,
    Exclusive,
    Lies,
    Obligation,
    PropertyName,
    obligations,
)
from bellcrank.proof.standing.propositional import (
    Conjunction,
    Declaration,
    Definition,
    Formula,
    Literal,
    two_of,
)
from bellcrank.routes.route_model import RouteTable

ASKED = Literal("asked")


@dataclass(frozen=True, slots=True)
class Script:
    """Some or all of the obligations of one layout.

    formula: the rules, and what would violate each property.
    variables: of the routes and drives in it.
    violations: for each property, that it is violated.
    asked: that routes stand together with all those that they need to be set.
    """

    formula: Formula
    variables: Variables
    violations: Mapping[PropertyName, Literal]
    asked: Literal

    @property
    def routes(self) -> Mapping[str, Literal]:
        """That each route is set."""
        return self.variables.routes

    @property
    def positions(self) -> Mapping[Position, Literal]:
        """That each drive lies in a position."""
        return self.variables.positions

    def unset(self, routes: Iterable[str]) -> list[Literal]:
        """That none of some routes is set."""
        return [~self.routes[name] for name in routes]

    def obligation(self, assumed: Iterable[Literal]) -> str:
        """SMT-LIB 2.6 text that asks whether literals can be true under the locking."""
        return f"{self.formula.smt_text(assumed)}(check-sat)\n"


@dataclass(slots=True)
class ScriptWriter:
    """Writes scripts over a layout's obligations, all of them or some.

    rules: those that begin with each route.
    """

    layout: Layout
    table: RouteTable
    locking: Locking
    rules: dict[str, list[StandingRule]] = field(default_factory=lambda: defaultdict(list))

    def __post_init__(self) -> None:
        for rule in standing_rules(self.locking):
            self.rules[routes_of(rule)[0]].append(rule)

    def whole(self) -> Script:
        """The script over all routes and rules."""
        return self._write(obligations(self.table), self.table.routes, self.layout.drives)

    def part(self, some: Sequence[Obligation]) -> Script:
        """The script over some obligations, the routes they name and their rules."""
        routes = dict.fromkeys(name for o in some for name in o.routes)
        drives = {drive for name in routes for r in self.rules[name] for drive in drives_of(r)}
        drives |= {o.position[0] for o in some if isinstance(o, Lies)}
        return self._write(some, routes, drives)

    def _write(
        self, some: Sequence[Obligation], routes: Iterable[str], drives: Iterable[str]
    ) -> Script:
        variables = variables_for(self.layout, routes, sorted(drives))
        formula = Formula(list(variables.declarations), list(variables.clauses))
        formula.declarations.append(Declaration(ASKED.variable, "with all that is needed set"))
        for name in variables.routes:
            for rule in self.rules[name]:
                if all(route in variables.routes for route in routes_of(rule)):
                    only = (~ASKED,) if isinstance(rule, NeedsSet) else ()
                    formula.clauses.append((*only, *clause_of(rule, variables)))
        unsafe: dict[PropertyName, list[Conjunction]] = {name: [] for name in SENTENCES}
        for index, obligation in enumerate(some):
            defined, cases = _violations(obligation, f"s{index}", variables)
            formula.definitions += defined
            unsafe[obligation.violates] += cases
        for violated, cases in unsafe.items():
            formula.definitions.append(Definition(f"violated_{violated}", tuple(cases)))
        violations = {name: Literal(f"violated_{name}") for name in SENTENCES}
        return Script(formula, variables, violations, ASKED)


def write_script(layout: Layout, table: RouteTable, locking: Locking) -> Script:
    """The whole locking and all violations of a layout."""
    return ScriptWriter(layout, table, locking).whole()


def _violations(
    obligation: Obligation, prefix: str, variables: Variables
) -> tuple[list[Definition], list[Conjunction]]:
    """Cases in which an obligation is violated, and what these need to be defined."""
    routes = variables.routes
    match obligation:
        case Exclusive():
            return two_of([routes[name] for name in obligation.routes], prefix)
        case Apart():
            own = routes[obligation.route]
            return [], [(own, routes[other]) for other in obligation.others]
        case Lies():
            lies = variables.positions[obligation.position]
            return [], [(routes[obligation.route], ~lies)]
