"""Watching beside another controller: what fits its locking is taken quietly, what cannot be is
told."""

from __future__ import annotations

from pathlib import Path

import pytest
from headless import Headless
from sound_layouts import compiled, compiled_file

from bellcrank import Sound
from bellcrank.live.decisions import Decision, Heard
from bellcrank.live.watching import Watch

EXAMPLES = Path(__file__).parents[2] / "examples"

YARD = """
layout "Reedham Yard" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
drive P detected
"""

CROSSING = """
layout "Reedham Crossing" on two rails
fixed diamond X
run edge NORTH - N - >NH - X.a1
run X.a2 - NO - edge NORTHWARDS
run edge EAST - E - >EH - X.b1
run X.b2 - EO - edge EASTWARDS
"""


def watching(c: Sound, *occupied: str) -> Watch:
    watch = Watch(c.layout, c.table, c.control, c.machine)
    for section in c.layout.sections:
        watch.decide(Heard("occupied" if section in occupied else "clear", section), 0.0)
    for drive in c.layout.drives.values():
        watch.decide(Heard("lies", drive.name, drive.positions[0]), 0.0)
    return watch


def told(watch: Watch, *heard: tuple[str, ...]) -> list[Decision]:
    """What is told of these reports, beside that they were noted."""
    decisions = [watch.decide(Heard(*each), 0.0) for each in heard]  # type: ignore[arg-type]
    return [decision for decision in decisions if decision.outcome not in ("noted", "nothing new")]


IN_TO_B = [("occupied", "A"), ("occupied", "P"), ("clear", "A"), ("occupied", "B"), ("clear", "P")]


def test_it_begins_once_all_has_been_reported_and_commands_nothing() -> None:
    c = compiled(YARD)
    watch = Watch(c.layout, c.table, c.control, c.machine)
    for section in c.layout.sections:
        assert watch.decide(Heard("clear", section), 0.0).outcome == "noted"
    assert not watch.running
    begun = watch.decide(Heard("lies", "P", "straight"), 0.0)
    assert (begun.outcome, begun.doing) == ("started", ())
    assert watch.running


def test_a_train_that_goes_where_a_route_may_lead_is_taken_quietly() -> None:
    assert told(watching(compiled(YARD)), *IN_TO_B) == []


def test_points_that_are_thrown_where_nothing_is_are_taken_quietly() -> None:
    into_c = [("clear" if k == "clear" else k, "C" if s == "B" else s) for k, s in IN_TO_B]
    assert told(watching(compiled(YARD)), ("lies", "P", "diverging"), *into_c) == []


def test_points_that_move_under_a_train_are_told() -> None:
    [alarm] = told(watching(compiled(YARD)), *IN_TO_B[:2], ("lies", "P", "diverging"))
    assert alarm.outcome == "alarm"
    assert alarm.told == (
        "P is reported to lie diverging, and under the proved locking that cannot be: P lies "
        "straight and a train is in P; P lies straight and P is reported occupied; P lies straight "
        "and is kept so for W to B, whose train is under way",
    )


def test_after_an_alarm_it_goes_on_with_what_is_reported_then() -> None:
    watch = watching(compiled(YARD))
    assert len(told(watch, *IN_TO_B[:2], ("lies", "P", "diverging"))) == 1
    assert watch.running
    after = told(watch, ("clear", "A"), ("occupied", "C"), ("clear", "P"))
    assert [decision for decision in after if decision.outcome == "alarm"] == []


def test_two_trains_whose_ways_cross_are_told() -> None:
    watch = watching(compiled(CROSSING))
    north = [("occupied", "N"), ("occupied", "E"), ("occupied", "X")]
    assert told(watch, *north) == []
    # One of the two is on the crossing; that both come out of it cannot be.
    [alarm] = told(watch, ("occupied", "NO"), ("occupied", "EO"))
    assert alarm.outcome == "alarm"
    assert "EO is reported occupied, and under the proved locking that cannot be" in alarm.told[0]
    assert "EH to EASTWARDS cannot have been set: X is held for NH to NORTHWARDS" in alarm.told[0]


def test_what_only_a_hand_can_have_done_is_told_as_that() -> None:
    watch = watching(compiled(YARD))
    assert told(watch, *IN_TO_B) == []
    [lifted] = told(watch, ("clear", "B"))
    assert lifted.outcome == "done"
    assert lifted.told == (
        "B is reported clear: under the proved locking that can only be since what was in B was "
        "taken off",
    )
    [put] = told(watch, ("occupied", "C"))
    assert put.outcome == "alarm"
    assert put.told[0].startswith(
        "C is reported occupied, and under the proved locking that cannot"
    )


def test_what_stood_where_it_began_may_have_been_on_its_way() -> None:
    assert told(watching(compiled(YARD), "P"), ("occupied", "B"), ("clear", "P")) == []


def test_a_lost_link_is_told_and_all_has_to_be_reported_anew() -> None:
    watch = watching(compiled(YARD))
    watch.decide(Heard("clear", "A", who="the line"), 0.0)
    lost = watch.decide(Heard("lost", "the line", "the line is lost"), 0.0)
    assert (lost.outcome, lost.told, watch.running) == ("stopped", ("the line is lost",), False)
    watch.decide(Heard("here", "the line"), 0.0)
    assert watch.decide(Heard("occupied", "A", who="the line"), 0.0).outcome == "started"


@pytest.mark.parametrize("kind", ["request", "cancel", "start", "stop", "thrown by hand"])
def test_what_people_ask_is_refused(kind: str) -> None:
    watch = watching(compiled(YARD))
    decision = watch.decide(Heard(kind, "W to B"), 0.0)  # type: ignore[arg-type]
    assert decision.outcome == "refused" and watch.running


@pytest.mark.parametrize(
    ("name", "seed"), [("harbour-terminus", 4), ("turning-loop", 5), ("four-track-station", 4)]
)
def test_beside_a_sound_controller_only_what_hands_did_is_told(name: str, seed: int) -> None:
    c = compiled_file(EXAMPLES / f"{name}.crank")
    run = Headless(c, seed)
    run.start()
    run.run(600_000)
    watch = watching(c)
    reports = [d.heard for d in run.written if d.heard.kind in ("occupied", "clear", "lies")]
    outcomes = [watch.decide(heard, 0.0).outcome for heard in reports]
    assert "alarm" not in outcomes
    by_hand = ("taken off", "divided", "left standing")
    assert outcomes.count("done") <= sum(run.railway.counts[what] for what in by_hand)
