"""The controller runs a railway in continuous time: late reports, slow drives, people.

`python tests/campaigns/clocked.py 1000` lets a thousand hours pass, and prints what came of it;
`--faults` breaks one assumption after the other and prints a table.
"""

from __future__ import annotations

from collections import Counter
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from clocked_documents import document_of, document_of_file
from clocked_faults import KINDS as FAULTS
from clocked_faults import broken
from clocked_handling import Habits
from clocked_mutants import KINDS as MUTANTS
from clocked_mutants import mutants
from clocked_operator import railway
from clocked_railway import World
from in_campaigns import in_campaigns
from random_railways import random_railway

import bellcrank
from bellcrank import Sound

EXAMPLES = Path(__file__).parents[2] / "examples"

SOUND = ("harbour-terminus", "hand-worked-branch", "turning-loop", "four-track-station")

HOUR = 3600.0


@cache
def example(name: str) -> dict[str, Any]:
    return document_of_file(EXAMPLES / f"{name}.crank")


def played(document: dict[str, Any], seed: int, hours: float) -> World:
    world, operator = railway(document, seed)
    operator.begin()
    world.until(hours * HOUR)
    return world


def assert_nothing_happened(world: World, seed: int) -> None:
    """Nothing that must not be, while all is as is assumed."""
    seen = world.seen
    assert (seen.accident, seen.alarm, seen.wrong) == (None, None, []), f"seed {seed}"


@pytest.mark.parametrize("name", SOUND)
def test_no_accident_no_alarm_and_no_train_that_waits_for_ever_on_the_examples(name: str) -> None:
    arrivals = 0
    for seed in range(2):
        world = played(example(name), seed, 0.5)
        assert_nothing_happened(world, seed)
        arrivals += world.seen.counts["arrivals"]
    assert arrivals > 10


@pytest.mark.parametrize("seed", in_campaigns([7, 8, 10, 11, 13, 16, 28], lambda seed: seed > 10))
def test_nothing_happens_on_random_railways_that_are_proved(seed: int) -> None:
    compiled = bellcrank.compile(random_railway(seed))
    assert isinstance(compiled, Sound)
    assert bellcrank.prove(compiled).proved
    world = played(document_of(compiled), seed, 1.0)
    assert_nothing_happened(world, seed)
    assert world.seen.counts["arrivals"] > 2


def test_a_train_that_was_called_on_draws_up_though_its_route_is_released_before() -> None:
    """A berth of two pieces: the route is released once the train is in the first of them."""
    compiled = bellcrank.compile("""\
layout "Deep Berth" on three rails
points F0
run F0.diverging - <S0 - T0 - stop
run F0.straight - <S1 - T1 - edge E0
run stop - T2 - T3 - >S2 - T4 - F0.toe
section SEC0 = F0, T4
section SEC1 = T2, T3
routes derive
route S0 to T2 calling on
""")
    assert isinstance(compiled, Sound)
    assert bellcrank.prove(compiled, controller=True).proved
    joined = 0
    for seed in range(15):
        world = played(document_of(compiled), seed, 1.0)
        assert_nothing_happened(world, seed)
        joined += world.seen.counts["joined"]
    assert joined > 2


def test_reports_may_come_as_late_as_is_assumed() -> None:
    """A section is reported occupied only when a front leaves it or a tail comes into it."""
    world, operator = railway(example("harbour-terminus"), 1, Habits(restart=0.0))
    world.occupied_after, world.clear_after = 27.0, 300.0
    operator.begin()
    world.until(2 * HOUR)
    assert_nothing_happened(world, 1)
    assert world.seen.counts["occupied"] > 100


@pytest.mark.parametrize("kind", MUTANTS)
def test_a_controller_without_a_part_of_a_guard_is_found_out(kind: str) -> None:
    document = example("harbour-terminus")
    for mutant in mutants(document["controller"]):
        if mutant.kind != kind:
            continue
        for seed in range(3):
            world = played({**document, "controller": mutant.controller}, seed, 1.0)
            if world.seen.accident or world.seen.alarm or world.seen.wrong:
                return
    pytest.fail("none does harm that is seen")


def test_a_drive_that_does_not_lie_right_sends_trains_off_the_rails() -> None:
    document = example("harbour-terminus")
    mutant = next(m for m in mutants(document["controller"]) if "drive does not lie" in m.kind)
    worlds = (played({**document, "controller": mutant.controller}, seed, 1.0) for seed in range(9))
    accidents = (world.seen.accident for world in worlds)
    assert any(found and "comes off the rails" in found[1] for found in accidents)


def test_each_assumption_can_be_broken_and_alarms_and_accidents_come_of_it() -> None:
    outcomes: Counter[str] = Counter()
    for kind in FAULTS:
        found = [broken(example("harbour-terminus"), kind, seed) for seed in range(3)]
        assert any(found), kind
        outcomes.update(outcome.kind for outcome in found if outcome is not None)
    assert {"alarm", "accident", "nothing granted", "harmless"} <= set(outcomes)


def test_every_kind_of_act_comes_up() -> None:
    counts: Counter[str] = Counter()
    for seed in range(4):
        counts += played(example("hand-worked-branch"), seed, 2.0).seen.counts
        counts += played(example("four-track-station"), seed, 0.5).seen.counts
    for what in (
        "came in", "left", "put down", "vehicles stand", "taken off", "ready to leave",
        "uncoupled", "joined", "turned back", "starts", "request", "request refused", "cancel",
        "confirm passed", "confirm arrived", "occupied", "clear", "lies", "time over", "arrivals",
    ):  # fmt: skip
        assert counts[what] > 0, what


def test_the_same_seed_gives_the_same_railway() -> None:
    one, other = (played(example("harbour-terminus"), 5, 0.5) for _ in range(2))
    assert one.seen.counts == other.seen.counts
    assert one.seen.counts != played(example("harbour-terminus"), 6, 0.5).seen.counts


def test_trains_that_stood_in_a_loop_of_one_section_come_out_of_it_safely() -> None:
    sound = bellcrank.compile(
        """
        layout "Loop" on three rails
        points F
        run edge W - A - <S - LX - F.toe
        run F.straight - LA - LB - F.diverging
        section LOOP = LX, F, LA, LB
        """
    )
    assert isinstance(sound, Sound)
    out = 0
    for seed in range(3):
        world = played(document_of(sound), seed, 1.0)
        assert_nothing_happened(world, seed)
        out += world.seen.counts["ready to leave"]
    assert out > 3


@pytest.mark.parametrize("name", ["harbour-terminus", "turning-loop"])
def test_the_order_of_its_steps_makes_no_difference(name: str) -> None:
    document = example(name)
    controller = document["controller"]
    other = {**document, "controller": {**controller, "steps": controller["steps"][::-1]}}
    one, two = played(document, 3, 1.0), played(other, 3, 1.0)
    assert one.seen.counts == two.seen.counts
    assert one.controller.state == two.controller.state
