"""What the standing check finds, on layouts small enough to see at a glance."""

from __future__ import annotations

from itertools import pairwise

import pytest
from random_layouts import shown, valid_layouts
from sound_layouts import checked, compiled, standing

from bellcrank.proof.standing import standing_check
from bellcrank.proof.standing.hazards import MOST_HAZARDS
from bellcrank.proof.verdict import Hazard, Verdict

SINGLE_LINE = """
    run edge WEST - A - >H - B - <J - C - edge EAST
"""
"""H to EAST and J to WEST meet head-on in B; nothing is thrown."""

POINTS = """
    points P
    run edge WEST - A - >H - P.toe
    run P.straight - B - edge EAST
    run P.diverging - C - stop
"""

DIAMOND = """
    fixed diamond X
    run edge WEST - A - >H - B - >S - X.a1
    run X.a2 - C - edge EAST
    run edge NORTH - D - >R - X.b1
    run X.b2 - E - edge SOUTH
"""
"""H to S leads up to the diamond; S to EAST and R to SOUTH cross in it."""

CROSSOVER = """
    points P, Q
    run edge W1 - A - >H - P.toe
    run P.straight - B - edge E1
    run P.diverging - Q.diverging
    run edge W2 - C - >G - Q.straight
    run Q.toe - D - edge E2
"""
"""Two lines rightwards, and a crossover from the first to the second."""


def written(*rules: str) -> str:
    return "locking written {\n" + "".join(f"  {rule}\n" for rule in rules) + "}\n"


def verdict(text: str) -> Verdict:
    """The verdict on a text that is free of errors."""
    return standing(compiled(text))


def only_hazard(text: str) -> Hazard:
    found = verdict(text)
    assert found.outcome == "refuted"
    assert found.complete
    [hazard] = found.hazards
    refuted = [p.name for p in found.properties if p.outcome == "refuted"]
    assert refuted == [hazard.violates]
    return hazard


@pytest.mark.parametrize("text", [SINGLE_LINE, POINTS, DIAMOND, CROSSOVER])
def test_derived_locking_is_proved(text: str) -> None:
    found = verdict(text)
    assert found.outcome == "proved"
    assert [p.outcome for p in found.properties] == ["proved"] * 4
    assert found.hazards == () and found.complete
    assert found.never_set == ()
    assert found.solver.startswith("z3 ")


def test_written_locking_gets_no_rule_that_is_not_written() -> None:
    compilation = compiled(SINGLE_LINE + written())
    assert not compilation.locking.derived
    assert compilation.locking.locks == () and compilation.locking.needs == ()


# -------------------------------------------------------- what was forgotten


def test_a_forgotten_lock_is_found_with_its_sentence_and_the_missing_rule() -> None:
    hazard = only_hazard(SINGLE_LINE + written())
    assert hazard.violates == "track"
    assert hazard.routes == ("H to EAST", "J to WEST")
    assert hazard.sentence == "H to EAST and J to WEST can both be set: they meet head-on in B"
    assert hazard.missing == "H to EAST locks J to WEST"
    assert verdict(SINGLE_LINE + written(hazard.missing)).outcome == "proved"


def test_a_lock_counts_whichever_route_is_named_first() -> None:
    assert verdict(SINGLE_LINE + written("J to WEST locks H to EAST")).outcome == "proved"


def test_only_one_of_counts_for_each_pair() -> None:
    rule = "only one of S to EAST, R to SOUTH, H to S"
    assert verdict(DIAMOND + written(rule)).outcome == "proved"


def test_a_forgotten_position_makes_a_single_route_unsafe() -> None:
    rules = ("H to C needs P diverging", "H to EAST locks H to C")
    hazard = only_hazard(POINTS + written(*rules))
    assert hazard.violates == "positions"
    assert hazard.routes == ("H to EAST",)
    assert hazard.sentence == (
        "H to EAST can be set while P, on its way, lies diverging and not straight"
    )
    assert hazard.missing == "H to EAST needs P straight"
    assert verdict(POINTS + written(*rules, hazard.missing)).outcome == "proved"


def test_every_route_needs_its_positions_stands_for_each_of_them() -> None:
    # The points lie one way at a time, so no lock is wanted beside.
    assert verdict(POINTS + written("every route needs its positions")).outcome == "proved"


def test_a_position_that_is_needed_the_wrong_way_round_is_found() -> None:
    rules = ("H to C needs P diverging", "H to EAST needs P diverging", "H to EAST locks H to C")
    hazard = only_hazard(POINTS + written(*rules))
    assert hazard.routes == ("H to EAST",)
    assert hazard.missing == "H to EAST needs P straight"
    # It goes in the place of the wrong rule, not beside it.
    assert hazard.instead_of is not None
    text = POINTS + written(*rules)
    wrong = text.splitlines()[hazard.instead_of.line - 1]
    assert wrong.strip() == rules[1]
    mended = text.replace(rules[1], hazard.missing)
    assert verdict(mended).outcome == "proved"


def test_a_forgotten_overlap_is_found() -> None:
    text = DIAMOND + "overlap S = X\n"
    rules = ("S to EAST locks R to SOUTH",)
    hazard = only_hazard(text + written(*rules))
    assert hazard.violates == "overlaps"
    assert hazard.routes == ("H to S", "R to SOUTH")
    assert hazard.sentence == (
        "H to S and R to SOUTH can both be set: "
        "R to SOUTH runs through X, the overlap of H to S beyond S"
    )
    assert verdict(text + written(*rules, hazard.missing)).outcome == "proved"
    # Without the overlap nothing was forgotten.
    assert verdict(DIAMOND + written(*rules)).outcome == "proved"


def test_an_overlap_gives_way_to_the_route_on_from_its_signal() -> None:
    # The same train goes on by that route: common practice.
    text = DIAMOND + "overlap S = X\nexpect H to S with S to EAST\n"
    assert verdict(text).outcome == "proved"


def test_a_forgotten_position_in_an_overlap_is_found() -> None:
    text = """
        points P
        run edge WEST - A - >H - B - >S - P.straight
        run P.diverging - D - stop
        run P.toe - C - edge EAST
        overlap S = P
    """
    rules = ("S to EAST needs P straight",)
    hazard = only_hazard(text + written(*rules))
    assert hazard.violates == "overlaps"
    assert hazard.routes == ("H to S",)
    assert hazard.sentence == (
        "H to S can be set while P, in its overlap, lies diverging and not straight"
    )
    assert hazard.missing == "H to S needs P straight"
    assert verdict(text + written(*rules, hazard.missing)).outcome == "proved"


def test_an_overlap_that_ends_facing_points_needs_no_position() -> None:
    text = """
        points P
        run edge WEST - A - >H - B - >S - P.toe
        run P.straight - C - edge EAST
        run P.diverging - D - stop
        overlap S = P
    """
    table = compiled(text).table
    assert table.routes["H to S"].overlap_sections == ("P",)
    assert table.routes["H to S"].demands == {}


def test_a_forgotten_flank_is_found() -> None:
    text = CROSSOVER + "flank H to E1 = Q straight\n"
    rules = (
        "H to E1 needs P straight",
        "H to E2 needs P diverging, Q diverging",
        "G to E2 needs Q straight",
    )
    hazard = only_hazard(text + written(*rules))
    assert hazard.violates == "flanks"
    assert hazard.routes == ("H to E1",)
    assert hazard.sentence == (
        "H to E1 can be set while Q, on its flank, lies diverging and not straight"
    )
    assert hazard.missing == "H to E1 needs Q straight"
    assert verdict(text + written(*rules, hazard.missing)).outcome == "proved"
    assert verdict(CROSSOVER + written(*rules)).outcome == "proved"


SIDING = """
    points PA, PB
    run edge WEST - A - >H - PA.straight
    run PA.toe - <E - B - edge EAST
    run PA.diverging - N - >M - PB.diverging
    run stop - WAGONS - PB.toe
    run PB.straight - <Y - SPUR - stop
    flank derive
"""
"""Nothing but PB keeps wagons that run away off the main line at PA."""


def test_derived_flank_sets_the_far_points_of_a_crossover() -> None:
    compilation = compiled(CROSSOVER + "flank derive\n")
    routes = compilation.table.routes
    # From E2 something could come without passing a signal; from W1 H stands before it.
    assert routes["H to E1"].flank == (("Q", "straight"),)
    assert routes["G to E2"].flank == ()
    assert routes["H to E2"].flank == ()
    assert standing(compilation).outcome == "proved"
    assert compilation.table.reasons("H to E1", "G to E2") == ()


def test_derived_flank_leaves_it_to_a_signal_where_one_stands() -> None:
    text = CROSSOVER.replace("P.diverging - Q", "P.diverging - F - <K - Q") + "flank derive\n"
    table = compiled(text).table
    assert table.routes["H to E1"].flank == ()


def test_derived_flank_sets_points_away_from_a_siding_without_a_signal() -> None:
    compilation = compiled(SIDING + "expect H to EAST with Y to WAGONS\n")
    routes = compilation.table.routes
    assert routes["H to EAST"].flank == routes["E to WEST"].flank == (("PB", "straight"),)
    [reason] = compilation.table.reasons("H to EAST", "M to WAGONS")
    assert (reason.kind, reason.demands) == ("flank", (("PB", "straight", "diverging"),))
    assert standing(compilation).outcome == "proved"


def test_written_rules_are_held_against_a_derived_flank() -> None:
    rules = (
        "H to EAST needs PA straight",
        "E to WEST needs PA straight, PB straight",
        "E to M needs PA diverging",
        "M to WAGONS needs PB diverging",
        "Y to WAGONS needs PB straight",
        "H to EAST locks E to WEST, E to M",
        "E to WEST locks E to M",
    )
    hazard = only_hazard(SIDING + written(*rules))
    assert hazard.violates == "flanks"
    assert hazard.missing == "H to EAST needs PB straight"
    assert verdict(SIDING + written(*rules, hazard.missing)).outcome == "proved"


# ------------------------------------------------------- rules with conditions


def test_a_route_that_needs_another_makes_the_smallest_unsafe_set_three() -> None:
    text = DIAMOND + "run edge FAR - F - >K - G - stop\n"
    rules = ("S to EAST needs K to G set",)
    hazard = only_hazard(text + written(*rules))
    assert set(hazard.routes) == {"S to EAST", "R to SOUTH", "K to G"}
    assert hazard.routes[2] == "K to G"
    assert hazard.missing in ("S to EAST locks R to SOUTH", "R to SOUTH locks S to EAST")
    # A rule against the route that is needed is not enough: once its train has used it,
    # both can be set.
    assert only_hazard(text + written(*rules, "K to G locks R to SOUTH")) == hazard


def test_what_a_needed_route_needs_counts_too() -> None:
    text = DIAMOND + "run edge FAR - F - >K - G - stop\n" + "run edge OFF - M - >L - N - stop\n"
    rules = ("S to EAST needs K to G set", "K to G needs L to N set")
    hazard = only_hazard(text + written(*rules))
    assert set(hazard.routes) == {"S to EAST", "R to SOUTH", "K to G", "L to N"}
    assert only_hazard(text + written(*rules, "L to N locks R to SOUTH")) == hazard


def test_a_needed_route_counts_only_when_it_is_asked_for_as_trains_show() -> None:
    text = DIAMOND + "run edge FAR - F - >K - G - stop\n"
    rules = ("S to EAST needs K to G set", "K to G locks R to SOUTH")
    clear = ("every route needs its sections clear",)
    c = checked(text + written(*rules, *clear))
    signals = next(r for r in c.moving.results if r.name == "signals")
    assert (c.standing.outcome, signals.outcome) == ("refuted", "refuted")
    told = [step.sentence for step in signals.story.steps] if signals.story else []
    assert "the operator asks for S to EAST" in told and "the operator asks for R to SOUTH" in told
    apart = "S to EAST locks R to SOUTH"
    assert checked(text + written(*rules, *clear, apart)).outcome == "proved"


def test_what_is_never_expected_may_come_once_a_needed_route_is_released() -> None:
    text = SINGLE_LINE + "run edge N - D - >R - E - edge M\n"
    expected = "expect H to EAST never with J to WEST\n"
    rules = ("H to EAST needs R to M set", "R to M locks J to WEST")
    (result,) = verdict(text + written(*rules) + expected).expectations
    assert result.outcome == "refuted"


CONDITION = """
    points P
    fixed diamond X
    run edge WEST - A - >H - P.toe
    run P.straight - X.a1
    run X.a2 - C - edge EAST
    run P.diverging - F - stop
    run edge NORTH - D - >R - X.b1
    run X.b2 - E - edge SOUTH
"""


def test_a_lock_under_a_condition_that_the_route_itself_needs_is_enough() -> None:
    rules = ("every route needs its positions", "H to EAST locks R to SOUTH when P straight")
    assert verdict(CONDITION + written(*rules)).outcome == "proved"


def test_a_lock_under_the_opposite_condition_is_worth_nothing() -> None:
    rules = ("every route needs its positions", "H to EAST locks R to SOUTH when P diverging")
    hazard = only_hazard(CONDITION + written(*rules))
    assert set(hazard.routes) == {"H to EAST", "R to SOUTH"}


def test_a_lock_holds_only_while_all_its_conditions_do() -> None:
    text = CONDITION + "points Z\nrun edge FAR - V - >K - Z.toe\n"
    text += "run Z.straight - V1 - stop\nrun Z.diverging - V2 - stop\n"
    positions = "every route needs its positions"
    both = "H to EAST locks R to SOUTH when P straight, Z straight"
    assert only_hazard(text + written(positions, both)).violates == "track"
    rest = "H to EAST locks R to SOUTH when Z diverging"
    assert verdict(text + written(positions, both, rest)).outcome == "proved"


def test_a_route_whose_rules_contradict_is_noted_as_never_settable() -> None:
    rules = ("H to EAST needs J to WEST set", "H to EAST locks J to WEST")
    found = verdict(SINGLE_LINE + written(*rules))
    assert found.outcome == "proved"  # what can never be set endangers nothing
    assert found.never_set == ("H to EAST",)


def test_derived_locking_with_a_rule_of_ones_own_may_bar_a_route() -> None:
    found = verdict(POINTS + "locking derive {\n  H to EAST needs H to C set\n}\n")
    assert found.outcome == "proved"
    assert found.never_set == ("H to EAST",)


# --------------------------------------------------------------- what mends it


def test_adding_exactly_the_missing_rules_mends_it() -> None:
    found = verdict(DIAMOND + "overlap S = X\n" + written())
    missing = [h.missing for h in found.hazards]
    assert missing == ["H to S locks R to SOUTH", "S to EAST locks R to SOUTH"]
    text = DIAMOND + "overlap S = X\n"
    assert verdict(text + written(*missing)).outcome == "proved"
    for left_out in missing:
        rest = [rule for rule in missing if rule != left_out]
        [hazard] = verdict(text + written(*rest)).hazards
        assert hazard.missing == left_out


@pytest.mark.campaign
def test_adding_the_missing_rules_mends_random_layouts() -> None:
    mended = 0
    for layout, compilation in valid_layouts(range(120)):
        missing = [h.missing for h in standing(compilation).hazards]
        if not missing:
            continue
        rules = "".join(f"\n  {rule}" for rule in missing)
        text = layout.text.replace("locking written {", "locking written {" + rules)
        with shown(layout):
            after = verdict(text)
            assert {p.outcome for p in after.properties} == {"proved"}
            assert after.hazards == ()
        mended += 1
    assert mended >= 25


def test_where_there_are_too_many_unsafe_sets_the_list_is_called_incomplete() -> None:
    tracks = 24
    names = [f"P{n}" for n in range(1, tracks)]
    lines = ["points " + ", ".join(names), "run edge WEST - A - >H - P1.toe"]
    lines += [f"run {n}.diverging - TO_{n} - stop" for n in names]
    lines += [f"run {a}.straight - {b}.toe" for a, b in pairwise(names)]
    lines += [f"run {names[-1]}.straight - LAST - stop"]
    found = verdict("\n".join(lines) + "\n" + written())
    assert found.outcome == "refuted"
    assert not found.complete
    assert len(found.hazards) >= MOST_HAZARDS
    assert len(set(found.hazards)) == len(found.hazards)
    assert len(found.hazards[0].routes) == 1


# ----------------------------------------------------------------- expectations


@pytest.mark.parametrize(
    ("line", "outcome"),
    [
        ("expect H to S with R to SOUTH", "proved"),
        ("expect S to EAST with R to SOUTH", "refuted"),
        ("expect S to EAST never with R to SOUTH", "proved"),
        ("expect H to S never with R to SOUTH", "refuted"),
        ("expect H to S with S to EAST with R to SOUTH", "refuted"),
    ],
)
def test_expectations_are_decided_both_ways(line: str, outcome: str) -> None:
    found = verdict(DIAMOND + line + "\n")
    [result] = found.expectations
    assert result.outcome == outcome
    assert found.outcome == ("proved" if outcome == "proved" else "unmet")
    assert {p.outcome for p in found.properties} == {"proved"}
    assert f"expect {result.text}" == line


def test_a_failed_expectation_says_what_stands_against_it() -> None:
    [refused] = verdict(DIAMOND + "expect S to EAST with R to SOUTH\n").expectations
    assert "they cross in X (fixed diamond), which has no drive" in refused.why
    [allowed] = verdict(DIAMOND + "expect H to S never with R to SOUTH\n").expectations
    assert "missing rule: H to S locks R to SOUTH" in allowed.why


def test_a_failed_expectation_under_written_locking_names_the_rule() -> None:
    rules = written("only one of S to EAST, R to SOUTH")
    [result] = verdict(DIAMOND + "expect S to EAST with R to SOUTH\n" + rules).expectations
    assert result.outcome == "refuted"
    assert "S to EAST locks R to SOUTH (layout.crank:" in result.why


def test_an_expectation_takes_account_of_where_drives_must_lie() -> None:
    line = "expect H to EAST with H to C\n"
    rules = written("every route needs its positions")
    [result] = verdict(POINTS + line + rules).expectations
    assert result.outcome == "refuted"
    assert "P is needed straight for H to EAST" in result.why
    assert "diverging for H to C" in result.why


# ------------------------------------------------------------------------ time


def test_with_no_time_at_all_nothing_is_called_proved_or_refuted() -> None:
    for text in (DIAMOND, DIAMOND + written()):
        compilation = checked(text + "expect H to S with R to SOUTH\n", seconds=0)
        found = compilation.standing
        assert found.outcome == "undecided"
        assert not compilation.proved
        assert {p.outcome for p in found.properties} == {"undecided"}
        assert [e.outcome for e in found.expectations] == ["undecided"]
        assert found.hazards == () and found.never_set == ()


def test_with_time_enough_a_limit_changes_nothing() -> None:
    c = compiled(DIAMOND + written())
    assert standing(c, seconds=60) == standing(c)


@pytest.mark.parametrize(
    "batch",
    [1, pytest.param(2, marks=pytest.mark.campaign), pytest.param(5, marks=pytest.mark.campaign)],
)
def test_obligations_in_small_batches_give_the_same_verdicts(
    monkeypatch: pytest.MonkeyPatch, batch: int
) -> None:
    seeds = range(8) if batch == 1 else range(30)
    texts = [layout.text for layout, _ in valid_layouts(seeds)]
    whole = [verdict(text) for text in texts]
    monkeypatch.setattr(standing_check, "BATCH", batch)
    apart = [verdict(text) for text in texts]
    assert [v.properties for v in apart] == [v.properties for v in whole]
    assert {v.outcome for v in whole} >= {"proved", "refuted"}


def test_a_set_that_needs_another_is_found_whatever_the_names_are() -> None:
    text = SINGLE_LINE.replace("H", "locks") + "run edge N - D - >R - E - edge M\n"
    rules = ("locks to EAST needs R to M set",)
    hazard = only_hazard(text + written(*rules))
    assert hazard.concerned == ("locks to EAST", "J to WEST")
    assert set(hazard.routes) == {"locks to EAST", "J to WEST", "R to M"}


def test_a_route_that_could_not_be_looked_at_in_time_is_not_called_settable() -> None:
    text = SINGLE_LINE + "locking derive { H to EAST needs J to WEST set }\n"
    in_time = verdict(text)
    assert (in_time.never_set, in_time.never_set_complete) == (("H to EAST",), True)
    assert not standing(compiled(text), seconds=0).never_set_complete


def test_why_an_expectation_fails_names_the_routes_as_they_are_whichever_comes_first() -> None:
    text = POINTS + "expect H to C with H to EAST\n"
    (result,) = verdict(text).expectations
    assert "P in opposite positions: straight for H to EAST, diverging for H to C" in result.why
