"""What written locking lacks, what it has too much of, and which rules forbid a thing."""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import combinations, pairwise
from pathlib import Path

import pytest
from by_hand import without_hands
from in_campaigns import in_campaigns
from random_layouts import random_layout, shown
from sound_layouts import checked, checked_file, compiled

from bellcrank import Checked
from bellcrank.machine.build_machine import build_machine
from bellcrank.machine.locking import Locking, NeedsSet, OnlyOne
from bellcrank.machine.parts import find_parts
from bellcrank.machine.wording import Rule, rule_lines, rule_text, rule_with_place
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.proof.repair import generalising
from bellcrank.proof.repair.candidates import Candidate, candidates, derived_locking, with_rules
from bellcrank.proof.repair.missing_rules import missing_rules
from bellcrank.proof.repair.over_vehicles import OverVehicles
from bellcrank.proof.repair.repair_model import Repair
from bellcrank.proof.repair.rule_edits import rule_edits, written_block
from bellcrank.proof.repair.runs import Replays
from bellcrank.proof.repair.spare_rules import Spare, spare_rules
from bellcrank.proof.standing.minimal_core import never_settable
from bellcrank.proof.standing.standing_check import check_standing
from bellcrank.running.state_search import Explorer, violated

EXAMPLES = Path(__file__).parents[2] / "examples"

SINGLE_LINE = """
    run edge WEST - A - >H - B - <J - C - edge EAST
"""
"""H to EAST and J to WEST meet head-on in B."""

POINTS = """
    points P
    run edge WEST - A - >H - P.toe
    run P.straight - B - edge EAST
    run P.diverging - C - stop
"""

DIAMOND = """
    fixed diamond X
    run edge WEST - A - >S - X.a1
    run X.a2 - C - edge EAST
    run edge NORTH - D - >R - X.b1
    run X.b2 - E - edge SOUTH
"""

FLANKED = """
    points P
    run edge WEST - A - >H - B - edge EAST
    run edge NORTH - C - >K - P.toe
    run P.straight - D - stop
    run P.diverging - E - edge SOUTH
    section YARD = P, D
    flank H to EAST = P diverging
"""
"""A train stands in YARD, over P, when its route is released; H to EAST throws P."""

PARALLEL = """
    run edge W1 - A - >H - B - edge E1
    run edge W2 - C - >K - D - edge E2
"""
"""Two lines that have nothing to do with each other."""


def written(*rules: str) -> str:
    return "locking written {\n" + "".join(f"  {rule}\n" for rule in rules) + "}\n"


def repair_of(c: Checked, effort: Effort | None = None) -> Repair:
    return missing_rules(c.layout, c.table, c.locking, c.moving, effort)


def texts(repair: Repair) -> list[str]:
    return [rule_text(missing.rule) for missing in repair.rules]


def mended(track: str, *rules: str) -> list[str]:
    """The rules that are missing, which a run from the text on proves to be enough."""
    c = checked(track + written(*rules))
    assert c.refuted
    repair = repair_of(c)
    assert repair.mends and repair.smallest and not repair.open and not repair.stopped
    lines = rule_lines(missing.rule for missing in repair.rules)
    assert checked(track + written(*rules, *lines)).outcome == "proved"
    return texts(repair)


def all_rules(track: str) -> list[str]:
    """Derived locking written out, one rule a line."""
    c = compiled(track)
    derived = derived_locking(c.layout, c.table)
    rules: Sequence[Rule] = (*derived.locks, *derived.needs, *derived.needs_clear)
    return [*map(rule_text, rules), "every drive needs its section clear"]


# -------------------------------------------------------- one rule is forgotten


@pytest.mark.parametrize(
    ("track", "forgotten"),
    [
        (SINGLE_LINE, "H to EAST locks J to WEST"),
        (DIAMOND, "S to EAST locks R to SOUTH"),
        (POINTS, "H to C needs P diverging"),
        (POINTS, "H to C needs C clear"),
        (FLANKED, "H to EAST needs P diverging"),
        (FLANKED, "every drive needs its section clear"),
    ],
)
def test_one_forgotten_rule_is_the_one_that_is_missing(track: str, forgotten: str) -> None:
    rules = all_rules(track)
    rules.remove(forgotten)
    assert mended(track, *rules) == [forgotten]


def test_a_forgotten_rule_that_nothing_depends_on_is_not_missing() -> None:
    rules = all_rules(POINTS)
    rules.remove("H to EAST locks H to C")  # the points lie one way at a time
    c = checked(POINTS + written(*rules))
    assert c.outcome == "proved"
    assert repair_of(c) == Repair((), proved=True, smallest=True, open=())


def test_the_notebook_of_the_harbour_forgot_one_pair() -> None:
    c = checked_file(EXAMPLES / "harbour-terminus-forgetful.crank")
    repair = repair_of(c)
    assert texts(repair) == ["W1 to T1 locks G1 to T2"]
    assert repair.mends and repair.smallest and not repair.open


def test_an_expectation_that_the_track_does_not_ask_for_gets_its_rule() -> None:
    track = PARALLEL + "expect H to E1 never with K to E2\n"
    rule = "every route needs its sections clear"
    assert mended(track, rule) == ["H to E1 locks K to E2"]


def test_a_wrong_rule_is_replaced() -> None:
    rules = ["H to EAST needs P straight", "H to C needs P straight", *all_rules(POINTS)[3:]]
    c = checked(POINTS + written(*rules))
    repair = repair_of(c)
    assert texts(repair) == ["H to C needs P diverging"]
    [missing] = repair.rules
    [wrong] = missing.instead_of
    assert rule_with_place(wrong) == "H to C needs P straight (layout.crank:8:16)"
    assert repair.mends
    rules[1] = texts(repair)[0]
    assert checked(POINTS + written(*rules)).outcome == "proved"


# ------------------------------------------------------------ many are forgotten


def test_two_positions_keep_routes_apart_and_no_lock_is_missing() -> None:
    assert mended(POINTS, "every route needs its sections clear") == [
        "H to EAST needs P straight",
        "H to C needs P diverging",
    ]


def test_one_rule_for_every_route_goes_in_the_place_of_three() -> None:
    three = POINTS + "run edge NORTH - D - >R - E - stop\n"
    positions = "every route needs its positions"
    assert mended(three, positions) == ["every route needs its sections clear"]
    # Vehicles may stand on the points as well.
    assert mended(POINTS, positions) == ["every route needs its sections clear"]


def test_an_empty_block_gets_all_it_needs_and_no_more() -> None:
    assert mended(DIAMOND) == [
        "every route needs its sections clear",
        "S to EAST locks R to SOUTH",
    ]


# ---------------------------------------------------------- none smaller will do


def safe(c: Checked, locking: Locking, rules: Iterable[Candidate]) -> bool:
    """Whether everything holds with more rules, by looking at every state there is."""
    more = with_rules(c.table, locking, rules)
    if check_standing(c.layout, c.table, more).outcome != "proved":
        return False
    machine = build_machine(c.layout, c.table, more)
    explorer = Explorer(machine)
    found = explorer.search(violated(explorer, machine), 40_000)
    if not found.runs and not found.complete:
        # Too many: those without vehicles that stand.
        explorer = Explorer(without_hands(machine))
        found = explorer.search(violated(explorer, machine), 40_000)
        assert found.complete
    return not found.runs


@pytest.mark.parametrize("track", in_campaigns([SINGLE_LINE, DIAMOND], lambda t: t == DIAMOND))
def test_no_smaller_set_of_rules_would_do(track: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(generalising, "GENERAL_FROM", 1_000)
    c = checked(track + written())
    repair = repair_of(c)
    assert repair.mends and repair.smallest
    assert safe(c, c.locking, [missing.rule for missing in repair.rules])
    tried = candidates(c.layout, c.table, c.locking)
    assert len(tried) > len(repair.rules)
    for size in range(len(repair.rules)):
        for some in combinations(tried, size):
            assert not safe(c, c.locking, some)


@pytest.mark.parametrize("seed", in_campaigns([67, 82, 86, 105], lambda seed: seed != 86))
def test_no_smaller_set_would_do_on_random_layouts(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(generalising, "GENERAL_FROM", 1_000)
    layout = random_layout(seed)
    c = checked(layout.text)
    derived = derived_locking(c.layout, c.table)
    rng = random.Random(seed)
    nothing = replace(
        c.locking,
        derived=False,
        locks=(),
        needs=(),
        needs_set=(),
        needs_clear=(),
        expectations=(),
        drives_need_clear=True,
        sectional=rng.random() < 0.4,
    )
    every: list[Candidate] = [*derived.locks, *derived.needs, *derived.needs_clear]
    gone = rng.sample(every, min(len(every), 5))
    locking = with_rules(c.table, nothing, [rule for rule in every if rule not in gone])
    repair = missing_rules(c.layout, c.table, locking)
    rules = [missing.rule for missing in repair.rules]
    with shown(layout):
        assert repair.proved and repair.smallest
        assert safe(c, locking, rules)
        tried = candidates(c.layout, c.table, locking)
        for size in range(len(rules)):
            for some in combinations(tried, size):
                assert not safe(c, locking, some)


# ------------------------------------------------------- what no rule can mend


def test_what_rules_forbid_no_further_rule_makes_possible() -> None:
    track = PARALLEL + "expect H to E1 with K to E2\n"
    c = checked(track + written("every route needs its sections clear", "H to E1 locks K to E2"))
    repair = repair_of(c)
    assert not repair.mends
    assert [u.text for u in repair.open] == ["expect H to E1 with K to E2: no rule would help"]


def test_safety_comes_before_what_is_expected() -> None:
    track = DIAMOND + "expect S to EAST with R to SOUTH\n"
    repair = repair_of(checked(track + written("every route needs its sections clear")))
    assert texts(repair) == ["S to EAST locks R to SOUTH"]
    assert repair.mends
    [still] = repair.open
    assert still.name == still.sentence == "expect S to EAST with R to SOUTH"


def test_without_time_nothing_is_proposed() -> None:
    repair = repair_of(checked(POINTS + written()), Effort(seconds=0))
    assert repair.stopped and not repair.mends and repair.rules == ()


# -------------------------------------------------------- rules to be left out


def spare(track: str, *rules: str) -> Spare:
    c = checked(track + written(*rules))
    assert c.proved
    return spare_rules(c.program, c.layout, c.table, c.locking)


POINTS_RULES = ("every route needs its positions", "every route needs its sections clear")


def test_no_rule_is_spare_that_something_depends_on() -> None:
    assert spare(POINTS, *POINTS_RULES) == Spare((), complete=True)


def test_rules_that_say_again_what_others_say_are_spare() -> None:
    found = spare(
        POINTS,
        "H to EAST needs P straight",
        "H to EAST locks H to C",
        *POINTS_RULES,
        "only one of H to C, H to EAST",
        "every drive needs its section clear",
    )
    assert [rule_with_place(rule) for rule in found.rules] == [
        "H to EAST needs P straight (layout.crank:7:19)",
        "H to EAST locks H to C (layout.crank:8:19)",
        "only one of H to C, H to EAST (layout.crank:11:3)",
        "every drive needs its section clear (layout.crank:12:3)",
    ]
    assert found.complete


def test_of_a_group_the_route_that_can_go_is_named() -> None:
    far = DIAMOND + "run edge FAR - F - >K - G - stop\n"
    group = "only one of S to EAST, K to G, R to SOUTH"
    found = spare(far, group, "every route needs its sections clear")
    assert [rule_with_place(rule) for rule in found.rules] == [
        "K to G in its `only one of` (layout.crank:9:26)"
    ]
    assert found.complete


def test_a_rule_that_bars_a_route_is_not_spare_if_something_unsafe_would_follow() -> None:
    rules = ("H to EAST needs J to WEST set", "H to EAST locks J to WEST")
    c = compiled(SINGLE_LINE + written(*rules, "every route needs its sections clear"))
    found = spare_rules(c.program, c.layout, c.table, c.locking)
    assert rules[1] not in map(rule_text, found.rules)


def test_a_run_that_asks_for_no_other_route_sets_none_that_needs_another() -> None:
    def goes_wrong(*rules: str) -> bool:
        c = compiled(PARALLEL + written("K to E2 needs D clear", *rules))
        over = OverVehicles(c.machine, c.table, find_parts(c.layout).in_section)
        replays = Replays(c.layout, c.table, c.locking, c.machine.invariants)
        return replays.goes_wrong(over.run("H to E1", "B"), ())

    assert goes_wrong()
    assert not goes_wrong("H to E1 needs B clear")
    assert not goes_wrong("H to E1 needs K to E2 set")


def test_of_two_rules_that_stand_for_each_other_the_last_is_spare() -> None:
    clear = "every route needs its sections clear"
    found = spare(DIAMOND, clear, "S to EAST locks R to SOUTH", "R to SOUTH locks S to EAST")
    assert [rule_with_place(rule) for rule in found.rules] == [
        "R to SOUTH locks S to EAST (layout.crank:10:20)"
    ]


def test_pairs_over_a_place_are_spare_beside_the_rule_for_the_place() -> None:
    pairs = ("S to EAST locks R to SOUTH",)
    clear = "every route needs its sections clear"
    for rules in (
        (*pairs, clear, "only one route over X"),
        ("only one route over X", *pairs, clear),
    ):
        found = spare(DIAMOND, *rules)
        assert [rule_text(rule) for rule in found.rules] == list(pairs)
        assert found.complete


def test_of_a_list_of_places_the_one_that_can_go_is_named() -> None:
    clear = "every route needs its sections clear"
    found = spare(DIAMOND, "only one route over each of C, X", clear)
    assert [rule_with_place(rule) for rule in found.rules] == [
        "only one route over C (layout.crank:8:31)"
    ]
    assert found.complete


@pytest.mark.parametrize("track", [POINTS, DIAMOND, SINGLE_LINE], ids=["points", "diamond", "line"])
def test_what_is_spare_can_be_left_out_all_together(track: str) -> None:
    rules = [*all_rules(track), "every route needs its sections clear"]
    found = [rule_text(rule) for rule in spare(track, *rules).rules]
    assert found
    rest = [rule for rule in rules if rule not in found]
    assert checked(track + written(*rest)).proved
    for rule in rest:
        fewer = [other for other in rest if other != rule]
        assert not checked(track + written(*fewer)).proved


# -------------------------------------------------- which rules forbid a thing


def test_a_failed_expectation_names_the_rules_that_forbid_it_and_no_others() -> None:
    track = PARALLEL + "run edge W3 - F - >L - G - edge E3\nexpect H to E1 with K to E2\n"
    rules = written("K to E2 needs L to E3 set", "H to E1 locks L to E3", "K to E2 needs D clear")
    verdict = checked(track + rules).standing
    [result] = verdict.expectations
    assert result.why == (
        "these rules do not let them be set together: "
        "K to E2 needs L to E3 set (layout.crank:7:17); "
        "H to E1 locks L to E3 (layout.crank:8:17)"
    )


def barred(text: str) -> dict[str, list[str]]:
    c = checked(text)
    found = never_settable(c.layout, c.locking, c.standing, c.moving)
    return {name: [rule_text(rule) for rule in rules] for name, rules in found.items()}


def test_a_route_that_can_never_be_set_is_told_with_the_rules_that_make_it_so() -> None:
    rules = ("H to E1 needs K to E2 set", "H to E1 needs B clear", "K to E2 locks H to E1")
    assert barred(PARALLEL + written(*rules)) == {
        "H to E1": ["H to E1 needs K to E2 set", "K to E2 locks H to E1"]
    }


def test_routes_that_wait_for_each_other_can_never_be_set() -> None:
    rules = ("H to E1 needs K to E2 set", "K to E2 needs H to E1 set")
    assert barred(PARALLEL + written(*rules)) == {
        "H to E1": [*rules],
        "K to E2": [*reversed(rules)],
    }


def test_derived_rules_may_be_among_those_that_forbid() -> None:
    rules = "locking derive {\n  H to EAST needs H to C set\n}\n"
    assert barred(POINTS + rules) == {
        "H to EAST": ["H to EAST needs H to C set", "H to EAST locks H to C"]
    }


def test_a_lattice_of_routes_that_need_each_other_is_walked_only_once() -> None:
    """Two routes a row, each needing both of the next row: the ways double with each row."""
    c = checked(PARALLEL)
    rows = [(f"{n} left", f"{n} right") for n in range(60)]
    needs = [NeedsSet(a, b) for row, below in pairwise(rows) for a in row for b in below]
    never = replace(c.standing, never_set=("0 left",))
    lattice = Locking(False, (), (), tuple(needs), (), ())
    assert never_settable(c.layout, lattice, never, None) == {"0 left": ()}
    ring = replace(lattice, needs_set=(*needs, NeedsSet("59 right", "58 left")))
    way = never_settable(c.layout, ring, never, None)["0 left"]
    steps = [(rule.route, rule.other) for rule in way if isinstance(rule, NeedsSet)]
    assert len(steps) == len(way) == 60
    assert all(before[1] == after[0] for before, after in pairwise(steps))
    assert (steps[0][0], steps[-1]) == ("0 left", ("59 right", "58 left"))


# ---------------------------------------------------- in the form of the notebook

LADDER = """
    points P1, P2, Q1, Q2
    run edge WEST - A - >W - P1.toe
    run edge EAST - B - >E - Q1.toe
    run P1.straight - <L1 - T1 - >R1 - Q1.straight
    run P1.diverging - P2.toe
    run Q1.diverging - Q2.toe
    run P2.straight - <L2 - T2 - >R2 - Q2.straight
    run P2.diverging - <L3 - T3 - >R3 - Q2.diverging
"""
"""Three roads between two edges."""

TO_THE_WEST = ("W to R1", "W to R2", "W to R3", "L1 to WEST", "L2 to WEST", "L3 to WEST")
TO_THE_EAST = ("E to L1", "E to L2", "E to L3", "R1 to EAST", "R2 to EAST", "R3 to EAST")

EVERY = (
    "every route needs its positions",
    "every route needs its sections clear",
    "every drive needs its section clear",
)


def one_of(*routes: str) -> str:
    return f"only one of {', '.join(routes)}"


BRIDGES = """
    section X = X1, X2, X3
    section Y = Y1, Y2
    run edge W1 - A1 - >H1 - X1 - edge E1
    run edge W2 - A2 - >H2 - X2 - edge E2
    run edge W3 - A3 - >H3 - X3 - edge E3
    run edge W4 - A4 - >H4 - Y1 - edge E4
    run edge W5 - A5 - >H5 - Y2 - edge E5
"""
"""Three lines over one bridge, two over another; one train at a time on either."""

CLEAR = "every route needs its sections clear"
OVER_Y = "H4 to E4 locks H5 to E5"
OVER_X = ("H1 to E1 locks H2 to E2", "H1 to E1 locks H3 to E3", "H2 to E2 locks H3 to E3")

HEAD_ON = tuple(f"W to R{n} locks E to L{n}" for n in (1, 2, 3))


def edited_text(c: Checked, text: str) -> str:
    """The text of a layout with the missing rules in it."""
    block = written_block(c.program)
    assert block is not None
    return rule_edits(block, repair_of(c).rules).edit("layout.crank", text)


def test_a_route_that_a_group_lacks_is_put_into_the_group() -> None:
    lacking = [name for name in TO_THE_WEST if name != "L1 to WEST"]
    text = LADDER + written(one_of(*lacking), one_of(*TO_THE_EAST), *HEAD_ON, *EVERY)
    c = checked(text)
    [missing] = repair_of(c).rules
    assert missing.lacking == ("L1 to WEST",)
    mended_text = edited_text(c, text)
    assert mended_text == text.replace("L3 to WEST\n", "L3 to WEST, L1 to WEST\n", 1)
    assert checked(mended_text).proved


@pytest.mark.campaign
def test_a_group_stricter_than_the_track_gets_the_route_it_lacks() -> None:
    every = [*TO_THE_WEST, *TO_THE_EAST]
    lacking = one_of(*(name for name in every if name != "W to R2"))
    c = checked(LADDER + written(lacking, *EVERY))
    [missing] = repair_of(c).rules
    assert missing.lacking == ("W to R2",)


@pytest.mark.campaign
def test_no_route_is_put_into_a_group_with_one_that_it_is_expected_with() -> None:
    every = [*TO_THE_WEST, *TO_THE_EAST]
    lacking = one_of(*(name for name in every if name != "W to R2"))
    text = LADDER + written(lacking, *EVERY) + "expect W to R2 with R3 to EAST\n"
    c = checked(text)
    repair = repair_of(c)
    assert not any(isinstance(missing.rule, OnlyOne) for missing in repair.rules)
    assert checked(edited_text(c, text)).proved


@pytest.mark.campaign
def test_a_notebook_with_groups_gets_a_group_for_what_is_missing_over_one_section() -> None:
    positions = [rule for rule in all_rules(LADDER) if "locks" not in rule]
    text = LADDER + written(one_of(*TO_THE_WEST), *HEAD_ON, *positions)
    c = checked(text)
    [missing] = repair_of(c).rules
    assert isinstance(missing.rule, OnlyOne) and not missing.instead_of
    assert set(missing.rule.routes) == set(TO_THE_EAST)
    assert checked(edited_text(c, text)).proved


def over(*places: str) -> str:
    return f"only one route over {'each of ' if len(places) > 1 else ''}{', '.join(places)}"


@pytest.mark.campaign
def test_a_notebook_of_places_gets_the_place_that_it_forgot() -> None:
    places = ("P1", "Q1", "T1", "T2")
    text = LADDER + written(over(*places), *EVERY)
    c = checked(text)
    assert texts(repair_of(c)) == ["only one route over T3"]
    assert checked(edited_text(c, text)).proved


def test_a_notebook_of_pairs_gets_the_place_of_which_it_has_nothing() -> None:
    text = BRIDGES + written(OVER_Y, CLEAR)
    c = checked(text)
    assert texts(repair_of(c)) == ["only one route over X"]
    assert checked(edited_text(c, text)).proved


def test_a_notebook_of_pairs_gets_the_pair_that_it_lacks() -> None:
    for missing in (OVER_X[1], OVER_Y):
        rules = [rule for rule in (*OVER_X, OVER_Y, CLEAR) if rule != missing]
        assert texts(repair_of(checked(BRIDGES + written(*rules)))) == [missing]


def test_no_place_is_locked_over_which_two_routes_are_expected_together() -> None:
    text = BRIDGES + written(OVER_Y, CLEAR) + "expect H1 to E1 with H2 to E2\n"
    assert "only one route over X" not in texts(repair_of(checked(text)))


@pytest.mark.campaign
def test_a_list_that_grows_too_long_goes_on_on_another_line() -> None:
    lacking = [name for name in TO_THE_WEST if name != "L1 to WEST"]
    long = "only one of " + ", ".join(lacking[:-1]) + ",  " + " " * 30 + lacking[-1]
    text = LADDER + written(long, one_of(*TO_THE_EAST), *HEAD_ON, *EVERY)
    c = checked(text)
    assert "L3 to WEST,\n    L1 to WEST\n" in edited_text(c, text)
