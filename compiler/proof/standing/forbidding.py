"""Why routes cannot be set: the rules that together forbid it, and no rule too many.

z3 is asked whether the routes can stand under the rules on them and on what they
need to be set, with one tracking literal a rule. Of the rules in its unsat core one
after the other is left out, as long as the rest forbid it still.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

import z3

from bellcrank.layout.layout_model import Layout, Position
from bellcrank.machine.locking import Locking, Locks, Needs, NeedsSet
from bellcrank.machine.wording import Rule
from bellcrank.proof.verdict import MovingVerdict, Verdict

MILLISECONDS = 2_000
"""For one question; without an answer the rules remain unsaid."""


def forbidding(layout: Layout, locking: Locking, routes: Iterable[str]) -> tuple[Rule, ...]:
    """The rules that together do not let routes be set together, of which none can be
    left out; none at all if they can be set, or z3 does not say."""
    asked = list(routes)
    rules = list(_rules(locking, _with_needed(locking, asked)))
    context = z3.Context()
    solver = z3.SimpleSolver(ctx=context)
    solver.set("timeout", MILLISECONDS)
    terms = _Terms(layout, context)
    tracked = {f"rule{number}": rule for number, rule in enumerate(rules)}
    for name, rule in tracked.items():
        solver.add(z3.Implies(z3.Bool(name, context), terms.rule(rule)))
    solver.add(*(terms.route(name) for name in asked), *terms.drives())
    core = _core(solver, [z3.Bool(name, context) for name in tracked])
    if core is None:
        return ()
    for literal in list(core):
        rest = [other for other in core if not other.eq(literal)]
        if solver.check(*rest) == z3.unsat:
            core = rest
    needed = {literal.decl().name() for literal in core}
    return tuple(rule for name, rule in tracked.items() if name in needed)


def never_settable(
    layout: Layout, locking: Locking, verdict: Verdict, moving: MovingVerdict | None
) -> Mapping[str, tuple[Rule, ...]]:
    """The routes that can never be set, each with the rules that make it so."""
    names = dict.fromkeys(verdict.never_set)
    for result in moving.results if moving is not None else ():
        if result.name == "routes" and result.outcome == "refuted":
            told = set(result.open)
            names |= dict.fromkeys(r for r in _all_routes(locking) if _said(r) in told)
    return {name: forbidding(layout, locking, [name]) or _ring(locking, name) for name in names}


def _said(route: str) -> str:
    """How the moving proof words that a route can never be set."""
    return f"{route} can never be set"


def _all_routes(locking: Locking) -> Iterator[str]:
    """Routes that need another to be set; no others can be barred for ever."""
    yield from dict.fromkeys(need.route for need in locking.needs_set)


def _ring(locking: Locking, route: str) -> tuple[NeedsSet, ...]:
    """Rules by which a route needs others to be set first, and these in the end each
    other: all might be set at once, but none can be the first."""
    path: list[NeedsSet] = []

    def walk(name: str, passed: tuple[str, ...]) -> bool:
        if name in passed:
            return True
        for need in locking.needs_set:
            if need.route == name:
                path.append(need)
                if walk(need.other, (*passed, name)):
                    return True
                path.pop()
        return False

    return tuple(path) if walk(route, ()) else ()


def _with_needed(locking: Locking, routes: Sequence[str]) -> dict[str, None]:
    """Routes with all that must be set for them to be set; the others need not be."""
    found = dict.fromkeys(routes)
    todo = list(found)
    while todo:
        name = todo.pop()
        for need in locking.needs_set:
            if need.route == name and need.other not in found:
                found[need.other] = None
                todo.append(need.other)
    return found


def _rules(locking: Locking, routes: Mapping[str, None]) -> Iterator[Locks | Needs | NeedsSet]:
    """The rules among some routes."""
    yield from (rule for rule in locking.needs_set if rule.route in routes)
    yield from (rule for rule in locking.locks if rule.first in routes and rule.second in routes)
    yield from (rule for rule in locking.needs if rule.route in routes)


def _core(solver: z3.Solver, literals: Sequence[z3.BoolRef]) -> list[z3.BoolRef] | None:
    if solver.check(*literals) != z3.unsat:
        return None
    said = {literal.decl().name() for literal in solver.unsat_core()}
    return [literal for literal in literals if literal.decl().name() in said]


class _Terms:
    """Rules as terms over one Boolean for each route and for each drive's positions."""

    def __init__(self, layout: Layout, context: z3.Context) -> None:
        self.layout = layout
        self.context = context
        self.used: dict[str, None] = {}

    def route(self, name: str) -> z3.BoolRef:
        return z3.Bool(f"route {name}", self.context)

    def lies(self, position: Position) -> z3.BoolRef:
        self.used[position[0]] = None
        return z3.Bool(" ".join(("drive", *position)), self.context)

    def drives(self) -> Iterator[z3.BoolRef]:
        """That each drive named so far lies in exactly one position."""
        for drive in list(self.used):
            lies = [self.lies((drive, p)) for p in self.layout.drives[drive].positions]
            yield z3.Or(lies)
            yield z3.AtMost(*lies, 1)

    def rule(self, rule: Locks | Needs | NeedsSet) -> z3.BoolRef:
        match rule:
            case Locks():
                routes = (self.route(rule.first), self.route(rule.second))
                return z3.Not(z3.And(*routes, *map(self.lies, rule.when)))
            case Needs():
                lies = self.lies((rule.drive, rule.position))
                return z3.Implies(self.route(rule.route), lies)
            case NeedsSet():
                return z3.Implies(self.route(rule.route), self.route(rule.other))
