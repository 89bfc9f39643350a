"""The simulated railway: trains that obey signals, detectors, faults; and accidents, which it
sees."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from headless import Headless
from sound_layouts import compiled, compiled_file

from bellcrank.controller.controller_model import Input
from bellcrank.live.decisions import Heard
from bellcrank.simulated.acts import (
    Comes,
    DetectorMended,
    Dies,
    Disobeys,
    DriveMended,
    IsPut,
    IsTaken,
    Sticks,
    TurnsBack,
)
from bellcrank.simulated.railway import SimulatedRailway, SimulationError
from bellcrank.simulated.sight import MARGIN

EXAMPLES = Path(__file__).parents[2] / "examples"

YARD = """
layout "Reedham Yard" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
drive P detected
"""


def railway(text: str = YARD, seed: int = 0) -> SimulatedRailway:
    c = compiled(text)
    return SimulatedRailway(c.layout, c.table, seed)


def said(simulated: SimulatedRailway) -> list[tuple[str, str]]:
    return [(r.kind, r.of) for r in simulated.take_reports()]


def test_a_train_comes_in_is_reported_at_once_and_stands_before_the_signal() -> None:
    simulated = railway()
    assert simulated.may_do() == [Comes("WEST")]
    simulated.do(Comes("WEST"))
    assert said(simulated) == [("occupied", "A")]
    simulated.run_until(60_000)
    [train] = simulated.trains()
    assert train.waits_at == "W" and train.motion.v == 0.0
    assert train.motion.x == pytest.approx(simulated.ground.length["A"] - MARGIN, abs=1e-3)
    assert train.tail > 0  # it is wholly in
    assert IsTaken(1) in simulated.may_do() and TurnsBack(1) not in simulated.may_do()


def test_it_passes_a_signal_that_is_off_and_stands_before_the_stop() -> None:
    simulated = railway()
    simulated.do(Comes("WEST"))
    simulated.show("W", "proceed")
    simulated.run_until(60_000)
    [train] = simulated.trains()
    assert [way.element for way in train.ways] == ["B"] and train.last_signal == "W"
    assert said(simulated) == [
        ("occupied", "A"), ("occupied", "P"), ("occupied", "B"), ("clear", "A"), ("clear", "P")
    ] or said(simulated) == []  # fmt: skip
    # The next one takes the signal to be at stop, for it has been passed.
    simulated.do(Comes("WEST"))
    simulated.run_until(120_000)
    assert [t.waits_at for t in simulated.trains()] == ["", "W"]
    assert simulated.accidents == []


def test_no_train_is_put_where_another_is_on_its_way_from_an_edge() -> None:
    """With no signal in between, nothing would stop it."""
    simulated = railway("""
layout "Reedham Line" on two rails
run edge WEST - A - B - >W - C - stop
""")
    assert IsPut("W") in simulated.may_put()
    simulated.do(Comes("WEST"))
    assert said(simulated) == [("occupied", "A")]
    assert IsPut("W") not in simulated.may_put()
    with pytest.raises(SimulationError):
        simulated.do(IsPut("W"))
    simulated.run_until(60_000)
    [train] = simulated.trains()
    assert train.waits_at == "W" and simulated.may_put() == []
    simulated.do(IsTaken(1))
    simulated.run_until(70_000)
    assert simulated.may_put() == [IsPut("W")]


def test_sections_are_reported_in_time_and_in_their_order() -> None:
    for seed in range(20):
        simulated = railway(YARD + "time of report 5 s\n", seed)
        simulated.do(Comes("WEST"))
        simulated.show("W", "proceed")
        order: list[tuple[str, str]] = []
        while (at := simulated.next_at()) is not None and at < 90_000:
            simulated.run_until(at)
            order += said(simulated)
            [train] = simulated.trains()
            on = [way.element for way in train.ways]
            told = {of for kind, of in order if kind == "occupied"}
            # What its front has left was reported before.
            assert set(on[:-1]) <= told
        sections = [of for kind, of in order if kind == "occupied"]
        assert sections == ["A", "P", "B"]


def test_a_signal_put_back_in_its_face_is_passed_by_one_that_cannot_stop() -> None:
    simulated = railway()
    simulated.do(Comes("WEST"))
    simulated.show("W", "proceed")
    passed = False
    for at in range(0, 60_000, 10):
        simulated.run_until(at)
        [train] = simulated.trains()
        left = simulated.ground.length["A"] - train.motion.x
        if train.ways[-1].element == "A" and left < 0.01 and train.motion.v > 0.2:
            simulated.show("W", "stop")
            passed = True
    assert passed
    [train] = simulated.trains()
    assert train.last_signal == "W" and simulated.accidents == []


def test_one_that_can_stop_does() -> None:
    simulated = railway()
    simulated.do(Comes("WEST"))
    simulated.show("W", "proceed")
    simulated.run_until(200)
    simulated.show("W", "stop")
    simulated.run_until(60_000)
    [train] = simulated.trains()
    assert train.waits_at == "W"


def test_it_turns_back_where_a_signal_lets_it_out_and_leaves() -> None:
    simulated = railway()
    simulated.do(Comes("WEST"))
    simulated.show("W", "proceed")
    simulated.run_until(60_000)
    simulated.show("W", "stop")
    assert TurnsBack(1) in simulated.may_do()
    simulated.do(TurnsBack(1))
    simulated.run_until(120_000)
    [train] = simulated.trains()
    assert train.waits_at == "S"
    simulated.show("S", "proceed")
    simulated.run_until(180_000)
    assert simulated.trains() == [] and simulated.counts["left"] == 1
    assert simulated.accidents == []


def test_what_is_not_possible_is_refused() -> None:
    simulated = railway()
    with pytest.raises(SimulationError, match="not possible"):
        simulated.do(TurnsBack(1))
    simulated.do(Comes("WEST"))
    with pytest.raises(SimulationError):
        simulated.do(Comes("WEST"))


def test_no_train_comes_in_where_its_way_depends_on_points() -> None:
    simulated = railway("""
layout "Reedham Split" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - B - edge OUT
run P.diverging - <D - C - stop
""")
    assert simulated.may_do() == [Comes("WEST")]


# ------------------------------------------------------------------------- accidents


def test_points_that_move_under_a_train_are_an_accident() -> None:
    simulated = railway()
    simulated.do(Comes("WEST"))
    simulated.show("W", "proceed")
    while not any(w.element == "P" for t in simulated.trains() for w in t.ways):
        simulated.run_until(simulated.next_at() or 0.0)
    simulated.throw("P", "diverging")
    assert [a.text for a in simulated.accidents] == ["points P move under train 1 in P"]


def test_a_train_that_comes_where_another_is_meets_it() -> None:
    simulated = railway()
    simulated.do(Comes("WEST"))
    simulated.show("W", "proceed")
    simulated.run_until(60_000)
    simulated.do(Comes("WEST"))
    simulated.show("W", "stop")
    simulated.show("W", "proceed")
    simulated.run_until(120_000)
    assert [a.text for a in simulated.accidents] == ["train 2 runs into train 1 in B"]


def test_points_that_move_before_a_train_derail_it() -> None:
    simulated = railway()
    simulated.do(Comes("WEST"))
    simulated.show("W", "proceed")
    while not any(t.motion.x > 0.9 * simulated.ground.length["A"] for t in simulated.trains()):
        simulated.run_until(simulated.now + 20)
    simulated.throw("P", "diverging")
    simulated.run_until(60_000)
    assert [a.text for a in simulated.accidents] == ["train 1 comes off the rails in P"]


# ---------------------------------------------------------------------------- faults


def test_a_detector_that_sticks_and_is_mended() -> None:
    simulated = railway()
    assert Sticks("A", "occupied") in simulated.faults()
    simulated.do(Sticks("A", "occupied"))
    assert said(simulated) == [("occupied", "A")]
    simulated.do(DetectorMended("A"))
    assert said(simulated) == [("clear", "A")]


def test_a_dead_drive_moves_no_more_and_says_nothing() -> None:
    simulated = railway()
    simulated.do(Dies("P"))
    simulated.throw("P", "diverging")
    simulated.run_until(60_000)
    assert simulated.lies("P") == "straight" and said(simulated) == []
    simulated.do(DriveMended("P"))
    assert said(simulated) == [("lies", "P")]


def test_a_train_that_passes_a_signal_at_stop() -> None:
    simulated = railway()
    simulated.do(Comes("WEST"))
    simulated.run_until(60_000)
    simulated.do(Disobeys(1, "W"))
    simulated.run_until(90_000)
    [train] = simulated.trains()
    assert train.last_signal == "W"
    assert "train 1 passes W at stop" in [h.text for h in simulated.take_happened()]


# ------------------------------------------------------- with the proved controller


@pytest.mark.parametrize("name", ["harbour-terminus", "turning-loop"])
def test_an_hour_of_an_example(name: str) -> None:
    c = compiled_file(EXAMPLES / f"{name}.crank")
    run = Headless(c, seed=1)
    run.start()
    run.run(3_600_000)
    assert run.railway.accidents == [], run.story
    assert run.box.running, run.story
    assert run.waits_for_ever(900) == [], run.story
    assert run.railway.counts["came"] > 20 and run.railway.counts["left"] > 5


def test_the_same_seed_brings_the_same_hour() -> None:
    c = compiled(YARD)
    one, two = (Headless(c, seed=7) for _ in range(2))
    for run in (one, two):
        run.start()
        run.run(600_000)
    assert one.sent == two.sent and len(one.sent) > 20


def test_a_controller_without_part_of_a_guard_is_found_out() -> None:
    """Any request is granted, whatever is set and whatever stands there."""
    found = 0
    for seed in range(6):
        run = Headless(compiled(YARD), seed=seed)
        controller = run.box.reacting.controller
        for given, reactions in controller.inputs.items():
            if given.kind == "request":
                careless = tuple(replace(r, guard=()) for r in reactions)
                controller.inputs[given] = careless  # type: ignore[index]
        run.start()
        for _ in range(400):
            run.hear([Heard("request", run.rng.choice(list(run.c.table.routes)))])
            run.run(3000)
            if run.railway.accidents or not run.box.running:
                break
        found += bool(run.railway.accidents)
    assert found > 0


def test_every_input_that_the_railway_gives_is_one_of_the_controller() -> None:
    run = Headless(compiled(YARD))
    for report in run.railway.all_reports():
        assert Input(report.kind, report.of, report.value) in run.box.controller.inputs
