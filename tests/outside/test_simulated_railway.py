"""The simulated railway of `run --simulated`, seen by an observer that was written without it."""

from __future__ import annotations

from math import inf
from pathlib import Path
from typing import Any

import pytest
from in_campaigns import in_campaigns
from observed_railway import Observed, watched

from bellcrank.live.decisions import Heard
from bellcrank.simulated.acts import Comes, Disobeys, Parts, Sticks
from bellcrank.simulated.detectors import Detectors
from bellcrank.simulated.driving import Driving

EXAMPLES = Path(__file__).parents[2] / "examples"

SIDINGS = """
layout "Reedham Sidings" on two rails
points P, Q
run edge WEST - A - >W - P.toe
run P.straight - <S - B - >T - Q.straight
run P.diverging - <D - C - >U - Q.diverging
run Q.toe - <E - F - edge EAST
drive P detected
drive Q detected
signal W shows stop, call, proceed
signal E shows stop, call, proceed
route CALL = W to T calling on shows call
route CALL2 = E to S calling on shows call
routes derive
"""


@pytest.mark.parametrize("seed", in_campaigns(range(4), bool))
def test_an_hour_of_shunting_keeps_to_physics_and_to_the_assumptions(seed: int) -> None:
    run = watched(SIDINGS, seed)
    run.watch(3_600_000)
    assert run.observer.wrong == [], run.story
    assert run.railway.accidents == [] and run.box.running, run.story
    seen: dict[str, Any] = run.observer.seen
    for what in ("signals passed", "reports", "drives arrived", "divided", "left", "picked up",
                 "coupled by themselves", "turned", "gone"):  # fmt: skip
        assert seen.get(what, 0) > 0, (what, seen)


@pytest.mark.parametrize(
    ("name", "minutes"),
    [
        ("turning-loop", 5),
        ("hand-worked-branch", 5),
        pytest.param("harbour-terminus", 10, marks=pytest.mark.campaign),
        pytest.param("four-track-station", 10, marks=pytest.mark.campaign),
    ],
)
def test_what_runs_in_an_example_is_as_a_railway_is(name: str, minutes: int) -> None:
    run = watched(EXAMPLES / f"{name}.crank", 5)
    run.watch(minutes * 60_000)
    assert run.observer.wrong == [], run.story
    assert run.observer.seen["signals passed"] >= minutes


# ---------------------------------------------------------- what the observer finds out


def until_wrong(run: Observed) -> str:
    """What the observer says first."""
    run.watch(3_600_000)
    assert run.observer.wrong, "nothing was found"
    return run.observer.wrong[0]


def test_a_train_that_passes_a_signal_at_stop_is_seen() -> None:
    run = watched(SIDINGS)
    run.act(Comes("WEST"))
    run.pass_time(30_000)
    assert run.observer.wrong == []
    assert run.act(Disobeys(1, "W"))
    run.pass_time(30_000)
    assert "train 1 passes W, which is at stop to it" in run.observer.wrong[0]


def test_one_that_could_not_stop_any_more_may_pass_it() -> None:
    run = watched(SIDINGS)
    run.act(Comes("WEST"))
    run.hear([Heard("request", "W to U")])
    run.look_at = inf  # nobody else does anything
    run.observer.seen.clear()
    while "signals passed" not in run.observer.seen:
        [train] = run.railway.trains()
        left = run.railway.ground.length["A"] - train.motion.x
        if left < 0.01 and train.motion.v > 0.2:
            run.hear([Heard("cancel", "W to U")])
        run.step(run.now + 5)
    assert run.observer.wrong == [] and not run.railway.is_off("W")
    run.pass_time(2_000)
    assert run.observer.wrong == []


def test_vehicles_that_are_lost_are_a_division_on_the_way() -> None:
    run = watched(SIDINGS)
    while not any(run.act(f) for f in run.railway.faults() if isinstance(f, Parts)):
        run.watch(1_000)
    assert run.observer.seen["parts"] == 1


@pytest.mark.parametrize("says", ["occupied", "clear"])
def test_a_detector_that_sticks_is_seen(says: str) -> None:
    run = watched(SIDINGS)
    while not any(
        run.act(f) for f in run.railway.faults() if isinstance(f, Sticks) and f.says == says
    ):
        run.watch(5_000)
    assert "report" in until_wrong(run)


def test_reports_later_than_stated_are_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bellcrank.simulated.detectors.SHARE", 4.0)
    assert "within its time" in until_wrong(watched(SIDINGS))


def test_reports_that_come_behind_the_train_are_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Detectors, "in_time", lambda self, section: None)
    text = SIDINGS + "time of report 9 s\n"
    assert "is not reported occupied, though train" in until_wrong(watched(text))


def test_a_train_that_jumps_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    plan = Driving.plan

    def jumps(self: Driving, train: Any) -> None:
        if not train.stands and len(train.ways) == 1 and train.total - train.motion.x > 0.3:
            train.motion.x += 0.2 if train.motion.x > 0.3 else 0.0
        plan(self, train)

    monkeypatch.setattr(Driving, "plan", jumps)
    assert "goes" in until_wrong(watched(SIDINGS))


def test_a_train_that_grows_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    plan = Driving.plan

    def grows(self: Driving, train: Any) -> None:
        if not train.coming_from and not train.leaving and train.tail > 0.02:
            train.length += 0.01
        plan(self, train)

    monkeypatch.setattr(Driving, "plan", grows)
    assert "changes its length" in until_wrong(watched(SIDINGS))


def test_a_train_that_starts_like_a_rocket_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bellcrank.simulated.motion.STARTS", 1.5)
    assert "right after" in until_wrong(watched(SIDINGS))


def test_drives_that_take_longer_than_stated_are_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bellcrank.simulated.drives.SHARE", 3.0)
    assert "has not arrived in its time" in until_wrong(watched(SIDINGS))


def test_a_driver_who_follows_at_the_lamp_of_the_train_before_is_seen(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The lamp is still off while what the first one did is not reported."""
    monkeypatch.setattr("bellcrank.simulated.lamps.Lamps.pass_by", lambda self, signal: None)
    monkeypatch.setattr(Detectors, "_changed", lambda self, section, at_once=False: None)
    monkeypatch.setattr(Detectors, "in_time", lambda self, section: None)
    run = watched(SIDINGS)
    run.hear([Heard("request", "W to U")])
    for _ in range(2):
        assert run.act(Comes("WEST"))
        run.pass_time(30_000)
    assert any("passes W, which is at stop to it" in text for text in run.observer.wrong)
