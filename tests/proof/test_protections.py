"""Which rules routes as they stand can do without, told pair by pair and asked of a solver."""

from __future__ import annotations

import pytest
from random_railways import random_railway
from sound_layouts import compiled

import bellcrank
from bellcrank import Sound
from bellcrank.machine.wording import rule_text
from bellcrank.proof.repair.protections import Cover, standing_cover
from bellcrank.proof.repair.rule_units import Unit, in_order_of_trial, units_of, without
from bellcrank.proof.standing.standing_check import check_standing

DIAMOND = """
    points P
    fixed diamond X
    run edge WEST - A - >S - X.a1
    run X.a2 - C - edge EAST
    run edge NORTH - D - >R - X.b1
    run X.b2 - P.toe
    run P.straight - E - edge SOUTH
    run P.diverging - F - edge QUAY
"""
"""S to EAST crosses R to SOUTH and R to QUAY, which two positions keep apart."""


def left_out(c: Sound) -> list[str]:
    """The rules that can go as far as routes that stand are concerned."""
    units = units_of(c.program, c.locking)
    cover = standing_cover(c.table, c.locking, units, ())
    return [rule_text(units[n].rule) for n in cover.can_go(in_order_of_trial(units), ())]


def written(*rules: str) -> str:
    return DIAMOND + "locking written {\n" + "".join(f"  {rule}\n" for rule in rules) + "}\n"


POSITIONS = "every route needs its positions"
CROSSING = "S to EAST locks R to SOUTH, R to QUAY"


def test_positions_protect_routes_that_need_a_drive_otherwise() -> None:
    rule = "R to SOUTH locks R to QUAY"
    assert left_out(compiled(written(rule, CROSSING, POSITIONS))) == [rule]


def test_a_lock_with_a_condition_that_the_routes_meet_protects_as_one_without() -> None:
    rules = ("S to EAST locks R to SOUTH when P straight", CROSSING, POSITIONS)
    assert left_out(compiled(written(*rules))) == ["S to EAST locks R to SOUTH"]
    rules = ("S to EAST locks R to SOUTH when P diverging", CROSSING, POSITIONS)
    assert left_out(compiled(written(*rules))) == [rules[0]]


def test_locks_of_which_one_is_always_in_force_stay_both() -> None:
    line = DIAMOND + "    run edge W - M - >G - K.toe\n    points K\n"
    line += "    run K.straight - N - edge Z\n    run K.diverging - O - edge Y\n"
    rules = [f"S to EAST locks R to SOUTH when K {way}" for way in ("straight", "diverging")]
    text = (
        line
        + "locking written {\n"
        + "\n".join(["S to EAST locks R to QUAY", "G to Z locks G to Y", POSITIONS, *rules])
    )
    assert left_out(compiled(text + "\n}\n")) == ["G to Z locks G to Y"]


def test_what_protects_only_together_goes_only_together() -> None:
    cover = Cover()
    cover.add([frozenset({1}), frozenset({2, 3})])
    assert cover.can_go([3, 2, 1], ()) == [3, 2]
    assert cover.can_go([1, 2, 3], ()) == [1]
    assert cover.can_go([1, 2, 3], {1}) == [2, 3]


def test_what_a_derived_rule_protects_from_is_no_danger() -> None:
    cover = Cover()
    cover.add([frozenset(), frozenset({1})])
    assert cover.can_go([1], ()) == [1]


@pytest.mark.parametrize(
    "seeds", [range(8), pytest.param(range(8, 24), marks=pytest.mark.campaign)]
)
def test_what_is_left_out_leaves_nothing_unsafe_and_nothing_more_could_go(seeds: range) -> None:
    tried = 0
    for seed in seeds:
        c = bellcrank.compile(random_railway(seed))
        if not isinstance(c, Sound) or not c.table.routes:
            continue
        units = units_of(c.program, c.locking)
        found = check_standing(c.layout, c.table, c.locking)
        if not units or found.outcome != "proved" or found.never_set:
            continue
        gone = standing_cover(c.table, c.locking, units, ()).can_go(in_order_of_trial(units), ())
        assert safe(c, [units[n] for n in gone])
        for kept in units:
            if kept not in [units[n] for n in gone]:
                assert not safe(c, [*(units[n] for n in gone), kept])
                tried += 1
    assert tried > len(seeds) // 2


def safe(c: Sound, gone: list[Unit]) -> bool:
    """Whether a solver finds nothing unsafe without some rules."""
    found = check_standing(c.layout, c.table, without(c.locking, gone))
    never = {e.text for e in c.locking.expectations if e.never}
    return all(p.outcome == "proved" for p in found.properties) and all(
        e.outcome == "proved" for e in found.expectations if e.text in never
    )
