"""A double junction gives the conflicts that common practice gives.

Down trains run rightwards, up trains leftwards. With the branch on the down
side its up road crosses the down main in a fixed diamond, X, on the way to
the trailing points in the up main, PU; PD are the facing points in the down:

                     .----------- down branch >
                    /     .------ < up branch
    down main >---PD-----X------- down main >
                        /
    up main <-----PU---'--------- < up main
"""

from __future__ import annotations

from itertools import combinations

import pytest
from brute_force import Rules, find
from drawn_layouts import names_of
from plain_table import Table, find_routes
from sound_layouts import standing

import bellcrank

DOUBLE_JUNCTION = """
    layout "Withy Cross" on two rails
    points PD, PU
    fixed diamond X   # a1 - a2 is the down main, b2 - b1 the up branch
    run edge DOWN_FROM - D0 - >D - PD.toe
    run PD.straight - X.a1
    run X.a2 - D2 - edge DOWN_TO
    run PD.diverging - BD - edge BRANCH_TO
    run edge UP_TO - U0 - PU.toe
    run PU.straight - <U - U2 - edge UP_FROM
    run PU.diverging - X.b1
    run X.b2 - <B - BU - edge BRANCH_FROM
"""

MIRRORED = """
    layout "Withy Cross, branch on the up side" on two rails
    points PD, PU
    fixed diamond X   # b1 - b2 is the down branch, a2 - a1 the up main
    run edge DOWN_FROM - D0 - >D - PD.toe
    run PD.straight - D2 - edge DOWN_TO
    run PD.diverging - X.b1
    run X.b2 - BD - edge BRANCH_TO
    run edge UP_TO - U0 - PU.toe
    run PU.straight - X.a1
    run X.a2 - <U - U2 - edge UP_FROM
    run PU.diverging - <B - BU - edge BRANCH_FROM
"""

DOWN_MAIN = "D to DOWN_TO"
DOWN_BRANCH = "D to BRANCH_TO"
UP_MAIN = "U to UP_TO"
UP_BRANCH = "B to UP_TO"

# All pairs at a double junction: common practice.
CONFLICTS = {
    "branch on the down side": {
        frozenset((DOWN_MAIN, DOWN_BRANCH)): "opposed drive",  # the facing points
        frozenset((UP_MAIN, UP_BRANCH)): "opposed drive",  # the trailing points
        frozenset((DOWN_MAIN, UP_BRANCH)): "crossing",  # in the diamond
    },
    "branch on the up side": {
        frozenset((DOWN_MAIN, DOWN_BRANCH)): "opposed drive",
        frozenset((UP_MAIN, UP_BRANCH)): "opposed drive",
        frozenset((UP_MAIN, DOWN_BRANCH)): "crossing",
    },
}
TOGETHER = {
    "branch on the down side": [
        (DOWN_MAIN, UP_MAIN), (DOWN_BRANCH, UP_BRANCH), (DOWN_BRANCH, UP_MAIN),
    ],
    "branch on the up side": [
        (DOWN_MAIN, UP_MAIN), (DOWN_BRANCH, UP_BRANCH), (DOWN_MAIN, UP_BRANCH),
    ],
}  # fmt: skip
JUNCTIONS = {
    "branch on the down side": DOUBLE_JUNCTION,
    "branch on the up side": MIRRORED,
}


@pytest.fixture(params=JUNCTIONS)
def side(request: pytest.FixtureRequest) -> str:
    return str(request.param)


def compiled(text: str) -> bellcrank.Sound:
    compilation = bellcrank.compile(text)
    assert isinstance(compilation, bellcrank.Sound) and not compilation.diagnostics
    return compilation


def test_the_table_above_names_every_pair(side: str) -> None:
    pairs = {*CONFLICTS[side], *map(frozenset, TOGETHER[side])}
    every = combinations((DOWN_MAIN, DOWN_BRANCH, UP_MAIN, UP_BRANCH), 2)
    assert pairs == set(map(frozenset, every))


def test_a_double_junction_has_four_routes(side: str) -> None:
    table = compiled(JUNCTIONS[side]).table
    assert table is not None
    assert set(table.routes) == {DOWN_MAIN, DOWN_BRANCH, UP_MAIN, UP_BRANCH}


def test_its_conflicts_are_those_of_common_practice(side: str) -> None:
    table = compiled(JUNCTIONS[side]).table
    assert table is not None
    assert {frozenset(pair) for pair in table.conflicts} == set(CONFLICTS[side])
    for pair, kind in CONFLICTS[side].items():
        assert kind in {reason.kind for reason in table.reasons(*pair)}


def test_roads_that_cross_in_the_diamond_need_no_drive_in_two_positions(side: str) -> None:
    table = compiled(JUNCTIONS[side]).table
    assert table is not None
    [pair] = [pair for pair, kind in CONFLICTS[side].items() if kind == "crossing"]
    one, other = (table.routes[name].demands for name in pair)
    assert not set(one) & set(other)
    assert [(r.kind, r.where) for r in table.reasons(*pair)] == [("crossing", ("X",))]


def test_what_common_practice_lets_run_together_can_be_set_together(side: str) -> None:
    lines = [f"expect {one} with {other}" for one, other in TOGETHER[side]]
    verdict = standing(compiled(JUNCTIONS[side] + "\n".join(lines)))
    assert verdict.outcome == "proved"
    assert len(verdict.expectations) == 3


def test_what_common_practice_keeps_apart_cannot_be_set_together(side: str) -> None:
    lines = ["expect {} never with {}".format(*sorted(pair)) for pair in CONFLICTS[side]]
    verdict = standing(compiled(JUNCTIONS[side] + "\n".join(lines)))
    assert verdict.outcome == "proved"
    assert len(verdict.expectations) == 3


def test_no_third_movement_fits_beside_two_that_run_together(side: str) -> None:
    table = compiled(JUNCTIONS[side]).table
    assert table is not None
    for three in combinations(table.routes, 3):
        assert any(frozenset(pair) in CONFLICTS[side] for pair in combinations(three, 2))


def test_points_alone_do_not_keep_trains_apart_in_the_diamond(side: str) -> None:
    written = "locking written {\n every route needs its positions\n}"
    verdict = standing(compiled(JUNCTIONS[side] + written))
    assert verdict.outcome == "refuted"
    [hazard] = verdict.hazards
    [crossing] = [pair for pair, kind in CONFLICTS[side].items() if kind == "crossing"]
    assert frozenset(hazard.routes) == crossing
    assert "they cross in X (fixed diamond), which has no drive" in hazard.sentence


def test_trying_everything_finds_the_same_one_pair() -> None:
    table = Table(
        fittings={"PD": "points", "PU": "points", "X": "fixed diamond"},
        joints=[
            ("edge DOWN_FROM", "D0.left"), ("D0.right", "PD.toe"),
            ("PD.straight", "X.a1"), ("X.a2", "D2.left"), ("D2.right", "edge DOWN_TO"),
            ("PD.diverging", "BD.left"), ("BD.right", "edge BRANCH_TO"),
            ("edge UP_TO", "U0.left"), ("U0.right", "PU.toe"),
            ("PU.straight", "U2.left"), ("U2.right", "edge UP_FROM"),
            ("PU.diverging", "X.b1"), ("X.b2", "BU.left"), ("BU.right", "edge BRANCH_FROM"),
        ],
        signals={
            "D": ("D0.right", "PD.toe"),
            "U": ("U2.left", "PU.straight"),
            "B": ("BU.left", "X.b2"),
        },
    )  # fmt: skip
    routes = find_routes(table)
    compilation = compiled(DOUBLE_JUNCTION)
    names = names_of(routes, compilation.table)
    positions = [(i, d, p) for i, route in enumerate(routes) for d, p in route.demands()]
    found = find(routes, table.drives(), Rules(needs=positions))
    assert [{names[i] for i in pair} for pair in found.pairs] == [{DOWN_MAIN, UP_BRANCH}]
