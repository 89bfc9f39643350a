"""Conflicts and verdicts against trying every pair, every set and every position."""

from __future__ import annotations

from collections import Counter
from itertools import combinations

import pytest
from brute_force import Findings, Rules, derived_rules, find
from drawn_layouts import DRAWN, EXAMPLES, HARBOUR, names_of
from plain_table import PlainRoute, Table, conflict, find_routes
from random_layouts import RandomLayout, shown, valid_layouts
from sound_layouts import compiled, compiled_file, standing

import bellcrank
from bellcrank.proof.verdict import Verdict


def assert_same_conflicts(compilation: bellcrank.Sound, routes: list[PlainRoute]) -> int:
    """The conflict matrix is that of the plain table; returns how many conflict."""
    table = compilation.table
    assert table is not None
    names = names_of(routes, table)
    expected = {
        frozenset((names[i], names[j]))
        for i, j in combinations(range(len(routes)), 2)
        if conflict(routes[i], routes[j])
    }
    assert {frozenset(pair) for pair in table.conflicts} == expected
    assert all(table.conflicts.values()), "a pair conflicts for no reason"
    for name in table.routes:
        partners = {other for pair in expected if name in pair for other in pair - {name}}
        assert set(table.conflicting[name]) == partners
    return len(expected)


@pytest.mark.parametrize("name", DRAWN)
def test_the_conflict_matrix_of_a_drawn_layout_is_that_of_all_pairs(name: str) -> None:
    drawn = DRAWN[name]
    compilation = bellcrank.compile(drawn.text)
    assert assert_same_conflicts(compilation, find_routes(drawn.table)) > 10


@pytest.mark.parametrize(
    "seeds",
    [range(20), pytest.param(range(20, 160), marks=pytest.mark.campaign)],
    ids=["the first", "more"],
)
def test_the_conflict_matrix_of_random_layouts_is_that_of_all_pairs(seeds: range) -> None:
    pairs = conflicting = 0
    for layout, compilation in valid_layouts(seeds):
        with shown(layout):
            conflicting += assert_same_conflicts(compilation, layout.routes)
        count = len(layout.routes)
        pairs += count * (count - 1) // 2
    # Neither answer is rare, so a constant one would have been found out.
    assert pairs * 0.1 < conflicting < pairs * 0.95


# ------------------------------------------------------------------- verdicts


def missing_rules(names: list[str], table: Table) -> dict[str, tuple[object, ...]]:
    """Every rule that could be missing, by its words: a pair, or a route's position."""
    rules: dict[str, tuple[object, ...]] = {}
    for i, j in combinations(range(len(names)), 2):
        rules[f"{names[i]} locks {names[j]}"] = (i, j)
        rules[f"{names[j]} locks {names[i]}"] = (i, j)
    for i, name in enumerate(names):
        for drive, positions in table.drives().items():
            for position in positions:
                rules[f"{name} needs {drive} {position}"] = (i, drive, position)
    return rules


def assert_same_verdict(
    verdict: Verdict, found: Findings, names: list[str], table: Table, rules: Rules,
    routes: list[PlainRoute],
) -> None:  # fmt: skip
    """A verdict says what trying everything says."""
    outcomes = {p.name: p.outcome for p in verdict.properties}
    assert {name for name, outcome in outcomes.items() if outcome == "refuted"} == found.refuted
    assert "undecided" not in outcomes.values()
    assert {names.index(name) for name in verdict.never_set} == (
        set(range(len(names))) - found.settable
    )
    assert bool(verdict.hazards) == bool(found.unsafe)
    sizes = [len(hazard.routes) for hazard in verdict.hazards]
    assert sizes == sorted(sizes)
    assert min(sizes, default=None) == found.smallest

    meanings = missing_rules(names, table)
    mended = Rules()
    pairs, wrong = set(), set()
    for hazard in verdict.hazards:
        assert frozenset(map(names.index, hazard.routes)) in found.unsafe
        rule = meanings[hazard.missing]
        concerned = tuple(names.index(name) for name in hazard.routes)
        if len(rule) == 2:
            assert set(concerned[:2]) == set(rule)
            pairs.add(rule)
            mended.locks.append((*rule, {}))  # type: ignore[arg-type]
        else:
            assert concerned[0] == rule[0]
            wrong.add(rule)
            mended.needs.append(rule)  # type: ignore[arg-type]
    assert pairs <= found.pairs
    assert wrong <= found.wrong
    assert verdict.complete
    # The missing rules are all that is missing.
    assert not find(routes, table.drives(), rules.plus(mended)).unsafe
    if not found.wrong and not rules.needs_set:
        # Nothing stands in the way of any pair but its own rule: each is named.
        assert pairs == found.pairs


def check_random(layout: RandomLayout, compilation: bellcrank.Sound) -> Findings:
    verdict = standing(compilation)
    names = names_of(layout.routes, compilation.table)
    found = find(layout.routes, layout.table.drives(), layout.rules)
    assert_same_verdict(verdict, found, names, layout.table, layout.rules, layout.routes)
    failed = 0
    for (one, other, never), result in zip(layout.expectations, verdict.expectations, strict=True):
        pairs = found.together if never else found.at_once
        can = (min(one, other), max(one, other)) in pairs
        expected = "proved" if can != never else "refuted"
        assert result.outcome == expected
        assert bool(result.why) == (expected == "refuted")
        failed += expected == "refuted"
    expected = "refuted" if found.unsafe else "unmet" if failed else "proved"
    assert verdict.outcome == expected
    return found


@pytest.mark.parametrize(
    ("seeds", "at_least"),
    [(range(40), 1), pytest.param(range(40, 160), 3, marks=pytest.mark.campaign)],
    ids=["the first", "more"],
)
def test_verdicts_on_random_layouts_are_those_of_trying_everything(
    seeds: range, at_least: int
) -> None:
    seen: Counter[str] = Counter()
    for layout, compilation in valid_layouts(seeds):
        with shown(layout):
            found = check_random(layout, compilation)
            assert layout.written or not found.unsafe, "derived locking lets this stand"
        seen["proved" if not found.unsafe else f"smallest {found.smallest}"] += 1
        seen.update(found.refuted)
        seen["never set"] += len(found.settable) < len(layout.routes)
        seen["expectations"] += len(layout.expectations)
    # Each kind of outcome came up, so that none went untested.
    for kind in ("proved", "smallest 1", "smallest 2", "track", "positions", "overlaps"):
        assert seen[kind] >= at_least, seen
    assert seen["never set"] >= at_least and seen["expectations"] >= 10 * at_least, seen
    if at_least > 1:
        assert seen["smallest 3"] + seen["smallest 4"] >= 1 and seen["flanks"] >= 1, seen


@pytest.mark.parametrize("name", DRAWN)
def test_derived_locking_of_a_drawn_layout_lets_nothing_unsafe_stand(name: str) -> None:
    drawn = DRAWN[name]
    routes = find_routes(drawn.table)
    found = find(routes, drawn.table.drives(), derived_rules(routes))
    assert not found.unsafe
    assert found.settable == set(range(len(routes)))
    assert standing(compiled(drawn.text)).outcome == "proved"


def test_the_forgetful_harbour_forgets_the_one_pair_that_trying_everything_finds() -> None:
    compilation = compiled_file(EXAMPLES / "harbour-terminus-forgetful.crank")
    routes = find_routes(HARBOUR.table)
    names = names_of(routes, compilation.table)
    rules = Rules(
        [(names.index(n.route), n.drive, n.position) for n in compilation.locking.needs],
        [
            (names.index(lock.first), names.index(lock.second), dict(lock.when))
            for lock in compilation.locking.locks
        ],
    )
    found = find(routes, HARBOUR.table.drives(), rules)
    assert [{names[i] for i in pair} for pair in found.pairs] == [{"W1 to T1", "G1 to T2"}]
    assert_same_verdict(standing(compilation), found, names, HARBOUR.table, rules, routes)
