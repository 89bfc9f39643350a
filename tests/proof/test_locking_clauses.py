"""The rules as clauses say what the rules mean, and the text says what the values say."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import product

import pytest
from sound_layouts import compiled

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.locking import Locks, Needs, NeedsSet
from bellcrank.proof.standing.locking_clauses import (
    StandingRule,
    Variables,
    clause_of,
    drives_of,
    routes_of,
    variables_for,
)
from bellcrank.proof.standing.propositional import (
    Clause,
    Declaration,
    Definition,
    Formula,
    Literal,
    exactly_one,
    two_of,
)
from bellcrank.proof.standing.z3_terms import Solver

ROUTES = ("one", "other")

LAYOUT = """
    fitting three roads {
      legs lead, first, second, third
      drive low, middle, high
      way lead - first when low
      way lead - second when middle
      way lead - third when high
    }
    three roads T
    points P
    run edge WEST - A - >H - P.toe
    run P.straight - T.lead
    run P.diverging - B - stop
    run T.first - C - stop
    run T.second - D - stop
    run T.third - E - stop
"""

Assignment = Mapping[str, bool]


def assignments(names: list[str]) -> Iterator[dict[str, bool]]:
    for values in product((False, True), repeat=len(names)):
        yield dict(zip(names, values, strict=True))


def holds(clause: Clause, values: Assignment) -> bool:
    return any(values[variable] == positive for variable, positive in clause)


@pytest.fixture(scope="module")
def layout() -> Layout:
    return compiled(LAYOUT).layout


def means(rule: StandingRule, routes: Assignment, lies: Mapping[str, str]) -> bool:
    """What a rule means, said again without any clause."""
    match rule:
        case Locks():
            both = routes[rule.first] and routes[rule.second]
            return not (both and all(lies[drive] == where for drive, where in rule.when))
        case Needs():
            return lies[rule.drive] == rule.position if routes[rule.route] else True
        case NeedsSet():
            return routes[rule.other] if routes[rule.route] else True


def states(
    layout: Layout, variables: Variables
) -> Iterator[tuple[dict[str, bool], dict[str, str], dict[str, bool]]]:
    """Every choice of routes and positions, with the values that the variables then have."""
    drives = list(dict.fromkeys(drive for drive, _ in variables.positions))
    for routes in assignments(list(variables.routes)):
        for positions in product(*(layout.drives[drive].positions for drive in drives)):
            lies = dict(zip(drives, positions, strict=True))
            values = {variables.routes[name].variable: is_set for name, is_set in routes.items()}
            for (drive, position), literal in variables.positions.items():
                is_there = lies[drive] == position
                values[literal.variable] = is_there == literal.positive
            yield routes, lies, values


@pytest.mark.parametrize(
    "rule",
    [
        Locks("one", "other"),
        Locks("one", "other", (("P", "diverging"),)),
        Locks("one", "other", (("P", "straight"), ("T", "middle"))),
        Needs("one", "P", "diverging"),
        Needs("other", "T", "high"),
        NeedsSet("one", "other"),
    ],
)
def test_the_clause_of_a_rule_is_true_exactly_where_the_rule_is_kept(
    rule: StandingRule, layout: Layout
) -> None:
    variables = variables_for(layout, ROUTES, ("P", "T"))
    assert set(routes_of(rule)) <= set(ROUTES) and set(drives_of(rule)) <= {"P", "T"}
    clause = clause_of(rule, variables)
    said = [
        (holds(clause, values), means(rule, routes, lies))
        for routes, lies, values in states(layout, variables)
    ]
    assert all(true == meant for true, meant in said)
    assert {meant for _, meant in said} == {True, False}


def test_the_clauses_of_the_drives_let_each_lie_in_one_position_and_in_any(
    layout: Layout,
) -> None:
    variables = variables_for(layout, (), ("P", "T"))
    names = [declaration.variable for declaration in variables.declarations]
    allowed = [
        values
        for values in assignments(names)
        if all(holds(clause, values) for clause in variables.clauses)
    ]
    possible = [values for _, _, values in states(layout, variables)]
    assert sorted(map(sorted, (v.items() for v in allowed))) == sorted(
        map(sorted, (v.items() for v in possible))
    )


@pytest.mark.parametrize("count", [1, 2, 3, 5])
def test_counting_along_a_chain_finds_two_that_are_true_and_one_that_is_alone(count: int) -> None:
    literals = [Literal(f"x{number}") for number in range(count)]
    names = [literal.variable for literal in literals]
    definitions, cases = two_of(literals, "s")
    formula = Formula(
        [Declaration(name, "") for name in names],
        definitions=[*definitions, Definition("two", tuple(cases))],
    )
    for values in assignments(names):
        solver = Solver(formula.smt_text())
        known = [solver.term(Literal(name, value)) for name, value in values.items()]
        says_two = solver.ask(*known, solver.term(Literal("two"))) == "sat"
        assert says_two == (sum(values.values()) >= 2)
        assert says_two != (solver.ask(*known, solver.term(~Literal("two"))) == "sat")
    only_one = [all(holds(c, v) for c in exactly_one(literals)) for v in assignments(names)]
    assert only_one == [sum(values.values()) == 1 for values in assignments(names)]


def test_the_text_is_true_where_the_values_say_so() -> None:
    a, b = Literal("a"), Literal("b")
    declared = [Declaration("a", "first"), Declaration("b", "second")]
    clauses: list[Clause] = [(a,), (~a,), (a, ~b), (~a, b), (~a, ~b), (a, b, ~a), ()]
    for clause in clauses:
        for values in assignments(["a", "b"]):
            solver = Solver(Formula(list(declared), [clause]).smt_text())
            known = [solver.term(Literal(name, value)) for name, value in values.items()]
            assert (solver.ask(*known) == "sat") == holds(clause, values), (clause, values)


def test_the_meaning_of_a_variable_stands_beside_it_in_plain_ascii() -> None:
    formula = Formula([Declaration("r0", "set: Höhe → A")], [(Literal("r0"),)])
    assert "(declare-const r0 Bool) ; set: H\\xf6he \\u2192 A\n" in formula.smt_text()
    assert formula.smt_text([~Literal("r0")]).endswith("(assert r0)\n(assert (not r0))\n")
