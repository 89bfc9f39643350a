"""Why routes cannot be set: the rules that together forbid it, and no rule too many.

That is a minimal unsatisfiable subset of the rules. z3 is asked whether the routes can
stand under the rules on them and on what they need to be set, with one tracking literal
a rule; its unsat core is a first such subset, and is made minimal by deletion: of its
rules one after the other is left out for good, as long as the rest forbid it still. See
J. Marques-Silva, "Minimal Unsatisfiability: Models, Algorithms and Applications" (2010).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.locking import Locking, NeedsSet
from bellcrank.machine.wording import Rule
from bellcrank.proof.standing.locking_clauses import (
    clause_of,
    drives_of,
    routes_of,
    standing_rules,
    variables_for,
)
from bellcrank.proof.standing.propositional import Declaration, Formula, Literal
from bellcrank.proof.standing.z3_terms import Solver
from bellcrank.proof.verdict import MovingVerdict, Verdict

if TYPE_CHECKING:  # networkx takes long to load, and few lockings have routes that need others
    import networkx as nx

MILLISECONDS = 2_000
"""For one question; without an answer the rules remain unsaid."""


def forbidding(layout: Layout, locking: Locking, routes: Iterable[str]) -> tuple[Rule, ...]:
    """The rules that together do not let routes be set together, of which none can be
    left out; none at all if they can be set, or z3 does not say."""
    asked = list(routes)
    among = _with_needed(locking, asked)
    rules = [r for r in standing_rules(locking) if all(name in among for name in routes_of(r))]
    variables = variables_for(
        layout, among, dict.fromkeys(drive for rule in rules for drive in drives_of(rule))
    )
    formula = Formula(list(variables.declarations), list(variables.clauses))
    tracking = {Literal(f"rule{number}"): rule for number, rule in enumerate(rules)}
    for tracked, rule in tracking.items():
        formula.declarations.append(Declaration(tracked.variable, "a rule is in force"))
        formula.clauses.append((~tracked, *clause_of(rule, variables)))
    formula.clauses += [(variables.routes[name],) for name in asked]
    solver = Solver(formula.smt_text())
    solver.z3.set("timeout", MILLISECONDS)
    core = _minimal_core(solver, list(tracking))
    return tuple(rule for tracked, rule in tracking.items() if tracked in core)


def _minimal_core(solver: Solver, assumed: Sequence[Literal]) -> frozenset[Literal]:
    """Literals that cannot be true together, though all but any one of them can; none if
    all can, or z3 does not say."""
    core = solver.core(assumed)
    for literal in list(core or ()):
        rest = [other for other in core or () if other != literal]
        if solver.core(rest) is not None:
            core = rest
    return frozenset(core or ())


def never_settable(
    layout: Layout, locking: Locking, verdict: Verdict, moving: MovingVerdict | None
) -> Mapping[str, tuple[Rule, ...]]:
    """The routes that can never be set, each with the rules that make it so."""
    names = dict.fromkeys(verdict.never_set)
    for result in moving.results if moving is not None else ():
        names |= dict.fromkeys(result.never_set)
    return {name: forbidding(layout, locking, [name]) or _ring(locking, name) for name in names}


def _needed(locking: Locking) -> nx.DiGraph:
    """An edge from each route to those that it needs to be set, with the rule."""
    import networkx as nx

    graph: nx.DiGraph = nx.DiGraph()
    for need in locking.needs_set:
        if not graph.has_edge(need.route, need.other):
            graph.add_edge(need.route, need.other, rule=need)
    return graph


def _ring(locking: Locking, route: str) -> tuple[NeedsSet, ...]:
    """Rules by which a route needs others to be set first, and these in the end each
    other: all might be set at once, but none can be the first."""
    import networkx as nx

    graph = _needed(locking)
    if route not in graph:
        return ()
    try:
        ring = nx.find_cycle(graph, route)
    except nx.NetworkXNoCycle:
        return ()
    way = nx.shortest_path(graph, route, ring[0][0])
    return tuple(graph.edges[edge]["rule"] for edge in (*pairwise(way), *ring))


def _with_needed(locking: Locking, routes: Sequence[str]) -> dict[str, None]:
    """Routes with all that must be set for them to be set; the others need not be."""
    found = dict.fromkeys(routes)
    if not locking.needs_set:
        return found
    import networkx as nx

    graph = _needed(locking)
    for name in routes:
        if name in graph:
            found |= dict.fromkeys(other for _, other in nx.bfs_edges(graph, name))
    return found
