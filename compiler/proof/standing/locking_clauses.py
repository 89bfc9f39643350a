"""The rules of the locking as clauses: the one translation for all who ask a solver.

Over one Boolean for each route (it is set) and, for each drive, over one for each
position (it lies there); a drive with two positions has a single one. Whoever asks
whether routes can stand, why they cannot or which rule is missing takes the clauses
from here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from bellcrank.layout.layout_model import Layout, Position
from bellcrank.machine.locking import Locking, Locks, Needs, NeedsSet
from bellcrank.proof.standing.propositional import (
    Clause,
    Declaration,
    Literal,
    exactly_one,
)

StandingRule = Locks | Needs | NeedsSet
"""The rules that say something of routes as they stand."""


@dataclass(frozen=True, slots=True)
class Variables:
    """What is true of routes and drives, as literals.

    routes, unset: that each route is set, and that it is not.
    positions: that a drive lies in a position.
    declarations: of all variables. clauses: that each drive lies in one position.
    """

    routes: Mapping[str, Literal]
    unset: Mapping[str, Literal]
    positions: Mapping[Position, Literal]
    declarations: tuple[Declaration, ...]
    clauses: tuple[Clause, ...]


def variables_for(layout: Layout, routes: Iterable[str], drives: Iterable[str]) -> Variables:
    """Variables for some routes and drives, numbered in their order."""
    declarations: list[Declaration] = []
    clauses: list[Clause] = []
    set_: dict[str, Literal] = {}
    positions: dict[Position, Literal] = {}
    for index, name in enumerate(routes):
        set_[name] = Literal(f"r{index}")
        declarations.append(Declaration(f"r{index}", f"set: {name}"))
    for index, name in enumerate(drives):
        of_drive = layout.drives[name].positions
        if len(of_drive) == 2:
            first, second = of_drive
            positions[name, first] = Literal(f"d{index}")
            positions[name, second] = ~positions[name, first]
            declarations.append(Declaration(f"d{index}", f"{name} lies {first}"))
            continue
        for number, position in enumerate(of_drive):
            positions[name, position] = Literal(f"d{index}_{number}")
            declarations.append(Declaration(f"d{index}_{number}", f"{name} lies {position}"))
        clauses += exactly_one([positions[name, position] for position in of_drive])
    unset = {name: ~literal for name, literal in set_.items()}
    return Variables(set_, unset, positions, tuple(declarations), tuple(clauses))


def clause_of(rule: StandingRule, variables: Variables) -> Clause:
    """What a rule says of routes as they stand."""
    unset, positions = variables.unset, variables.positions
    match rule:
        case Locks():
            away = [~positions[position] for position in rule.when]
            return (unset[rule.first], unset[rule.second], *away)
        case Needs():
            return (unset[rule.route], positions[rule.drive, rule.position])
        case NeedsSet():
            return (unset[rule.route], variables.routes[rule.other])


def standing_rules(locking: Locking) -> tuple[StandingRule, ...]:
    """The rules in force that say something of routes as they stand."""
    return (*locking.needs_set, *locking.locks, *locking.needs)


def routes_of(rule: StandingRule) -> tuple[str, ...]:
    """The routes that a rule names."""
    match rule:
        case Locks():
            return (rule.first, rule.second)
        case Needs():
            return (rule.route,)
        case NeedsSet():
            return (rule.route, rule.other)


def drives_of(rule: StandingRule) -> tuple[str, ...]:
    """The drives that a rule names."""
    match rule:
        case Locks():
            return tuple(drive for drive, _ in rule.when)
        case Needs():
            return (rule.drive,)
        case NeedsSet():
            return ()
