"""People who shunt: trains are divided, left standing, picked up again and coupled."""

from __future__ import annotations

import pytest
from headless import Headless
from sound_layouts import compiled

from bellcrank.simulated.acts import (
    Comes,
    IsCoupled,
    IsDivided,
    IsLeft,
    IsPickedUp,
    IsTaken,
    Parts,
    TurnsBack,
)
from bellcrank.simulated.railway import SimulatedRailway, SimulationError
from bellcrank.simulated.train import Train

SIDINGS = """
layout "Reedham Sidings" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
drive P detected
signal W shows stop, call, proceed
route CALL = W to B calling on shows call
routes derive
"""


def sidings(text: str = SIDINGS, seed: int = 0) -> SimulatedRailway:
    c = compiled(text)
    return SimulatedRailway(c.layout, c.table, seed)


def let_in(simulated: SimulatedRailway, aspect: str = "proceed") -> Train:
    """A train comes in at the west, and past W to B, where it stands."""
    simulated.do(Comes("WEST"))
    simulated.show("W", "stop")
    simulated.show("W", aspect)
    simulated.run_until(simulated.now + 60_000)
    simulated.show("W", "stop")
    return simulated.trains()[-1]


def ready_to_leave(simulated: SimulatedRailway) -> Train:
    """A train stands in B before S."""
    train = let_in(simulated)
    simulated.do(TurnsBack(train.number))
    simulated.run_until(simulated.now + 60_000)
    assert train.waits_at == "S"
    return train


def test_a_train_that_is_divided_goes_on_without_the_part_behind() -> None:
    simulated = sidings()
    train = ready_to_leave(simulated)
    length = train.length
    simulated.do(IsDivided(train.number))
    front, rest = simulated.trains()
    assert front is train and not rest.driven
    assert front.length + rest.length == pytest.approx(length)
    assert rest.motion.x == pytest.approx(front.tail)  # they touch
    simulated.take_reports()
    simulated.show("S", "proceed")
    simulated.run_until(simulated.now + 120_000)
    assert simulated.trains() == [rest] and simulated.is_on("B")
    told = [(r.kind, r.of) for r in simulated.take_reports()]
    assert ("clear", "B") not in told and told[0] == ("occupied", "P")
    assert simulated.accidents == []


def test_what_was_left_is_picked_up_and_leaves() -> None:
    simulated = sidings()
    train = ready_to_leave(simulated)
    simulated.do(IsLeft(train.number))
    simulated.show("S", "proceed")
    simulated.run_until(simulated.now + 60_000)
    assert train.stands and train.last_signal == "W"  # it has no driver
    simulated.show("S", "stop")
    simulated.do(IsPickedUp(train.number, "S"))
    simulated.run_until(simulated.now + 60_000)
    assert train.waits_at == "S"
    simulated.show("S", "proceed")
    simulated.run_until(simulated.now + 120_000)
    assert simulated.trains() == [] and simulated.accidents == []


def test_one_that_is_called_on_draws_up_to_what_was_left_and_takes_it_along() -> None:
    simulated = sidings()
    train = let_in(simulated)
    simulated.do(IsLeft(train.number))
    second = let_in(simulated, "call")
    assert simulated.trains() == [second] and second.driven
    assert simulated.counts["coupled"] == 1
    assert second.length > train.length
    simulated.do(TurnsBack(second.number))
    simulated.run_until(simulated.now + 60_000)
    simulated.show("S", "proceed")
    simulated.run_until(simulated.now + 120_000)
    assert simulated.trains() == [] and simulated.accidents == []


def test_one_that_is_called_on_goes_on_at_sight_though_its_signal_is_put_back_in_its_face() -> None:
    """Its driver has seen that it is called on: it draws up to what stands there."""
    simulated = sidings()
    simulated.do(IsLeft(let_in(simulated).number))
    simulated.do(Comes("WEST"))
    simulated.show("W", "call")
    [_, train] = simulated.trains()
    while train.last_signal != "W":
        simulated.run_until(simulated.now + 10)
        [*_, train] = simulated.trains()
        left = simulated.ground.length["A"] - train.motion.x
        if train.ways and train.ways[-1].element == "A" and left < 0.01 and train.motion.v > 0.2:
            simulated.show("W", "stop")
    simulated.run_until(simulated.now + 60_000)
    assert simulated.accidents == [] and simulated.counts["coupled"] == 1


@pytest.mark.parametrize("turned", [False, True])
def test_what_was_divided_is_coupled_again_where_it_touches(turned: bool) -> None:
    simulated = sidings()
    train = ready_to_leave(simulated) if turned else let_in(simulated)
    length, front, waits_at = train.length, train.motion.x, train.waits_at
    simulated.do(IsDivided(train.number))
    rest = simulated.trains()[1]
    simulated.do(IsCoupled(train.number, rest.number))
    assert simulated.trains() == [train]
    assert train.length == pytest.approx(length)
    assert train.motion.x == pytest.approx(front) and train.waits_at == waits_at


def test_who_stands_behind_cannot_leave_before_the_one_in_front_has() -> None:
    simulated = sidings()
    train = ready_to_leave(simulated)
    simulated.do(IsDivided(train.number))
    [_, rest] = simulated.trains()
    out = IsPickedUp(rest.number, "S")
    assert out not in simulated.may_do()
    with pytest.raises(SimulationError):
        simulated.do(out)
    simulated.show("S", "proceed")
    simulated.run_until(simulated.now + 120_000)
    assert out in simulated.may_do()


def test_nobody_picks_up_what_stands_on_track_that_is_held() -> None:
    simulated = sidings()
    train = ready_to_leave(simulated)
    simulated.do(IsLeft(train.number))
    simulated.admits = lambda edge, elements: "B" not in elements
    assert IsPickedUp(train.number, "S") not in simulated.may_do()


def test_a_train_is_not_divided_while_it_moves_or_reaches_beyond_its_stretch() -> None:
    simulated = sidings()
    simulated.do(Comes("WEST"))
    simulated.show("W", "proceed")
    seen = 0
    while simulated.counts["signals passed"] == 0 or not simulated.trains()[0].stands:
        simulated.run_until(simulated.next_at() or 0.0)
        seen += 1
        if not simulated.trains()[0].stands:
            assert not any(isinstance(act, IsDivided | IsLeft) for act in simulated.may_do())
    assert seen > 5
    assert IsDivided(1) in simulated.may_do()


def test_a_short_train_is_not_divided_any_more() -> None:
    simulated = sidings()
    train = ready_to_leave(simulated)
    for _ in range(10):
        if IsDivided(train.number) not in simulated.may_do():
            break
        simulated.do(IsDivided(train.number))
    assert train.length < 0.1


def test_a_train_that_loses_vehicles_runs_on_and_they_come_to_stand() -> None:
    simulated = sidings()
    simulated.do(Comes("WEST"))
    simulated.show("W", "proceed")
    while not any(way.element == "P" for way in simulated.trains()[0].ways):
        simulated.run_until(simulated.next_at() or 0.0)
    assert Parts(1) in simulated.faults()
    simulated.do(Parts(1))
    simulated.run_until(simulated.now + 60_000)
    train, rest = simulated.trains()
    assert train.ways[-1].element == "B" and rest.stands
    assert {w.element for w in rest.ways} & {"A", "P"} and rest.length > 0
    assert simulated.accidents == []
    assert [h.kind for h in simulated.take_happened()].count("fault") == 1
    simulated.do(IsTaken(rest.number))
    assert simulated.trains() == [train]


def test_vehicles_that_were_lost_keep_their_track_or_are_noticed() -> None:
    """Sections that are detected stay occupied under them; nothing runs into them."""
    for seed in range(8):
        run = Headless(compiled(SIDINGS), seed)
        run.start()
        run.run(600_000)
        for _ in range(400):
            lost = [f for f in run.railway.faults() if isinstance(f, Parts)]
            if lost:
                run.act(lost[0])
                break
            run.run(1000)
        run.run(600_000)
        assert run.railway.accidents == [], run.story


def test_people_shunt_for_hours_and_the_proved_controller_stands_it() -> None:
    run = Headless(compiled(SIDINGS), seed=3)
    run.start()
    run.run(6 * 3_600_000)
    assert run.railway.accidents == [] and run.box.running, run.story
    counts = run.railway.counts
    assert min(counts[what] for what in ("divided", "left standing", "picked up", "coupled")) > 10


LONG_SIDING = SIDINGS.replace("B - stop", "B - B2 - stop").replace(
    "drive P detected", "section ROAD = B, B2\ndrive P detected"
)


def test_one_draws_up_to_vehicles_that_stand_right_beyond_a_joint() -> None:
    simulated = sidings(LONG_SIDING.replace("W to B calling", "W to B2 calling"))
    train = let_in(simulated)
    simulated.do(IsLeft(train.number))
    assert [way.element for way in train.ways] == ["B2"]
    # Its tail is just where B ends and B2 begins.
    train.length = train.motion.x = train.lengths[0] - 0.03
    second = let_in(simulated, "call")
    assert simulated.trains() == [second] and simulated.accidents == []
    assert [way.element for way in second.ways] == ["B", "B2"]


def test_who_draws_up_to_a_divided_train_is_coupled_to_its_rear_alone() -> None:
    simulated = sidings()
    train = let_in(simulated)
    simulated.do(IsDivided(train.number))
    second = let_in(simulated, "call")
    assert simulated.trains() == [train, second] and simulated.counts["coupled"] == 1
    assert second.motion.x == pytest.approx(train.tail, abs=1e-3)
