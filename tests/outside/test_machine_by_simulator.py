"""The moving proof against a railway simulated element by element.

`python tests/campaigns/simulated.py` plays thousands of random railways; the tests here a
few of them each time, and the campaign some more.
"""

from __future__ import annotations

import random
from collections import Counter
from functools import cache
from pathlib import Path

import networkx as nx
import pytest
from element_simulator import Simulator
from in_campaigns import in_campaigns
from machine_and_simulator import SAFETY, Comparison, Twice, compare, twice
from plain_railway import Railway, railway
from railway_play import play, replay, search
from random_railways import random_railway

from bellcrank.proof.moving.moving_proof import Effort

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))

SHORT = Effort(seconds=2, search=2_000)
"""Enough to prove most, and to find most stories of what is wrong."""

FORKED = """
points P
run edge WEST - A - >H - P.toe
run P.straight - <S1 - T1 - stop
run P.diverging - <S2 - T2 - stop
"""


drawn = cache(random_railway)


def compared(seed: int, effort: Effort = SHORT, *, steps: int, runs: int) -> Comparison | None:
    both = twice(drawn(seed))
    return None if both is None else compare(both, seed, effort, steps=steps, runs=runs)


def assert_agrees(found: Comparison) -> None:
    wrong = "\n\n".join([*found.false_proofs.values(), *found.not_retold.values()])
    assert not wrong, f"{wrong}\n\n{found.both.text}"


@pytest.mark.parametrize("first", [6])
def test_what_is_proved_of_random_railways_never_happens_and_what_is_told_does(
    first: int,
) -> None:
    for seed in range(first, first + 3):
        found = compared(seed, Effort(seconds=0.5, search=500), steps=200, runs=5)
        if found is not None:
            assert_agrees(found)
            assert found.played.steps > 0


@pytest.mark.campaign
@pytest.mark.parametrize("first", range(10_000, 10_048, 12))
def test_the_proof_and_the_simulator_agree_on_many_random_railways(first: int) -> None:
    outcomes: Counter[str] = Counter()
    for seed in range(first, first + 12):
        found = compared(seed, steps=400, runs=20)
        if found is not None:
            assert_agrees(found)
            outcomes.update(found.outcomes[name] for name in SAFETY)
    assert outcomes["proved"] > 10


LED_ASTRAY = (100_215, 100_866, 101_721, 101_726, 102_753, 103_077)
"""Railways of which the locking forgets a drive on the way of a route, or two routes of one signal:
where trains then come to has once been told otherwise by the two."""


@pytest.mark.parametrize("seed", in_campaigns(LED_ASTRAY, lambda seed: seed != 102_753))
def test_where_trains_are_led_astray_the_two_agree(seed: int) -> None:
    found = compared(seed, Effort(seconds=2, search=3_000), steps=400, runs=25)
    assert found is not None
    assert "refuted" in found.outcomes.values()
    assert_agrees(found)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_routes_and_their_sections_of_the_examples_are_found_alike(path: Path) -> None:
    both = twice(path)
    assert both is not None
    assert len(both.name_of) == len(both.railway.routes) > 5


def test_in_all_states_of_a_small_railway_with_two_trains_nothing_is_wrong() -> None:
    simulator = Simulator(railway("run edge WEST - A - >H - B - <S - C - >J - D - stop"))
    simulator.most_trains = 2
    simulator.by_hand = False
    played, complete = search(simulator, 60_000)
    assert complete
    assert played.steps > 1_000
    assert played.wrong == {}


def test_in_all_states_of_a_line_with_vehicles_put_down_and_uncoupled_nothing_is_wrong() -> None:
    simulator = Simulator(railway("run edge WEST - A - >H - B - <S - C - stop"), most_trains=1)
    played, complete = search(simulator, 60_000)
    assert complete
    assert played.steps > 500
    assert played.wrong == {}


def forgetful(rule: str) -> Twice:
    both = twice(FORKED + f"locking written {{\n  every route needs its positions\n{rule}\n}}\n")
    assert both is not None
    return both


def test_what_a_notebook_forgets_is_found_by_both() -> None:
    both = forgetful("  only one of H to T1, H to T2, S1 to WEST")
    found = compare(both, 1, Effort(), steps=300, runs=60)
    assert found.outcomes["meetings"] == "refuted"
    assert not found.not_retold
    assert {"meetings", "signals"} <= set(found.played.wrong)
    for start, acts, _ in found.played.wrong.values():
        assert replay(Simulator(both.railway), start, acts)[1] is None


def test_a_story_that_does_no_harm_on_the_railway_is_noticed() -> None:
    both = forgetful("  only one of H to T1, H to T2, S1 to WEST")
    other = twice(FORKED)
    assert other is not None
    # The rules of another layout, under which the story cannot happen.
    found = compare(Twice(both.text, both.machine, other.railway, both.name_of), 1, Effort(),
                    steps=0, runs=0)  # fmt: skip
    assert "not possible" in found.not_retold["meetings"]


def test_a_property_that_is_proved_and_violated_is_noticed() -> None:
    both = twice(FORKED)
    other = forgetful("  only one of H to T1, H to T2, S1 to WEST")
    assert both is not None
    found = compare(Twice(both.text, both.machine, other.railway, both.name_of), 1, Effort(),
                    steps=300, runs=60)  # fmt: skip
    assert {"meetings", "signals"} <= set(found.false_proofs)


@pytest.mark.parametrize(("signal", "end"), [("<M", "T2"), (">M", "M"), ("<M - U - >N", "N")])
def test_both_call_trains_on_into_a_berth_with_a_signal_in_its_middle(
    signal: str, end: str
) -> None:
    both = twice(f"""
    run edge W - A - >H - T1 - {signal} - T2 - stop
    section T = T1, {"U, " if "U" in signal else ""}T2
    routes derive
    route CALL = H to {end} calling on
    """)
    assert both is not None
    found = compare(both, 1, Effort(), steps=300, runs=60, states=3_000)
    assert_agrees(found)
    assert found.outcomes["meetings"] == "proved"


def test_every_kind_of_act_comes_up_on_random_railways() -> None:
    done: Counter[str] = Counter()
    for seed in range(14):
        plain = railway(drawn(seed))
        done.update(play(Simulator(plain), random.Random(seed), 200, 3).done)
    assert set(done) == {
        "request", "cancel", "drive arrives", "signal clears", "time runs out",
        "released by time", "section released", "route released", "moves", "tail leaves",
        "turns back", "comes in", "passes at the edge", "put down", "stands", "taken off",
        "uncoupled", "ready to leave",
    }  # fmt: skip
    assert min(done.values()) >= 5, done


@pytest.mark.campaign
def test_every_feature_of_the_language_comes_up_on_random_railways() -> None:
    text = "\n".join(drawn(seed) for seed in range(60))
    for words in (
        "points F", "three way points F", "double slip F", "single slip F", "fixed diamond F",
        "fitting moveable diamond", "fitting fan", "fitting scissors", "without detection",
        "coupled F", "detected", "overlap S", "flank derive", "flank S", "routes derive",
        "routes written", "calling on", "route NAMED", "locking derive {", "locking written {",
        " locks ", " when F", " needs F", " clear", " set", "only one of ",
        "only one route over F", "only one route over each of ",
        "every route needs its positions", "every route needs its sections clear",
        "every drive needs its section clear", "release whole routes",
        "release section by section", "never with", " with ",
    ):  # fmt: skip
        assert words in text, words
    railways = [railway(drawn(seed)) for seed in range(20)]
    assert any(plain.unwatched for plain in railways)
    assert any(not approach for plain in railways for approach in plain.approach.values())
    assert any(_has_signal_inside(plain) for plain in railways)
    assert any(_has_ring(plain) for plain in railways)


def _has_signal_inside(plain: Railway) -> bool:
    return any(
        before[0] in plain.section_of
        and after[0] in plain.section_of
        and plain.section_of[before[0]] == plain.section_of[after[0]]
        for before, after in plain.signals.values()
    )


def _has_ring(plain: Railway) -> bool:
    """Whether a train can come back to where it was, going on."""
    moves = nx.DiGraph(
        (end, plain.beyond[way.element, way.exit])
        for end, ways in plain.ways.items()
        for way, _ in ways
    )
    return not nx.is_directed_acyclic_graph(moves)
