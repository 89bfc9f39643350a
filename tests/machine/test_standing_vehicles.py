"""Vehicles that stand: what may be done to them, and what they keep from happening."""

from __future__ import annotations

from itertools import product

import pytest
from sound_layouts import machine_of

from bellcrank.machine.frame import CLEAR, STANDING
from bellcrank.machine.machine_model import Event, Machine, State, after, holds, possible
from bellcrank.running.state_search import Explorer, PackedState, violated

POINTS = """
points P
run edge W - A - >H - P.toe
run P.straight - <S - T - stop
run P.diverging - U - stop
"""

CALLING_ON = """
run edge W - A - >H - B - <S - T - stop
signal H shows stop, call, clear
routes derive
route CALL = H to T calling on shows call
"""

LOOP = """
layout "Loop" on three rails
points P
run edge W - A - B - <S - LX - P.toe
run P.straight - LA - LB - P.diverging
section LOOP = LX, P, LA, LB
"""

WITH_OVERLAP = "run edge W - >H - A - >J - B - stop\noverlap J = B\n"


def named(machine: Machine, name: str) -> Event:
    (event,) = (event for event in machine.events if event.name == name)
    return event


def may(machine: Machine, state: State, *names: str) -> list[bool]:
    return [possible(named(machine, name), state) for name in names]


def play(machine: Machine, *events: str) -> State:
    """The state after some events, each of which may happen when it does."""
    state: State = machine.start()
    for name in events:
        event = named(machine, name)
        assert possible(event, state), f"{name} cannot happen"
        state = after(event, state)
    return state


# ------------------------------------------------------------------- any start


def placings(machine: Machine, explorer: Explorer) -> set[PackedState]:
    """All states with vehicles on any stretches of track and each drive anywhere."""
    choices = [
        (CLEAR, STANDING) if v.kind == "track" else v.initial for v in machine.variables.values()
    ]
    return {
        explorer.pack(dict(zip(machine.variables, values, strict=True)))
        for values in product(*choices)
    }


@pytest.mark.parametrize(
    "text",
    [
        "run edge W - A - >H - B - <S - T - stop",
        CALLING_ON,
        WITH_OVERLAP,
        "fixed diamond X\nrun edge W - >H - X.a1\nrun X.a2 - edge E\n"
        "run edge N - >K - X.b1\nrun X.b2 - edge S\n",
        POINTS,
        LOOP,
    ],
    ids=["line", "calling on", "overlap", "diamond", "points", "loop"],
)
def test_from_every_placing_of_vehicles_and_drives_nothing_unsafe_is_reachable(text: str) -> None:
    machine = machine_of(text)
    explorer = Explorer(machine)
    starts = placings(machine, explorer)
    tests = violated(explorer, machine)
    found = explorer.search(tests, 400_000, starts=sorted(starts))
    assert found.complete and not found.runs
    # The proof begins with clear track, and comes to each of these.
    usual = explorer.search({}, 400_000)
    assert usual.complete and starts <= usual.seen.keys()
    assert usual.seen.keys() == found.seen.keys()


def test_where_a_rule_forgets_the_points_vehicles_that_stand_there_are_run_into() -> None:
    rules = """
    locking written {
      every route needs its positions
      only one of H to T, H to U, S to W
      H to T needs T clear
      H to U needs U clear
      S to W needs A clear
    }
    """
    machine = machine_of(POINTS + rules)
    explorer = Explorer(machine)
    tests = {"drives": violated(explorer, machine)["drives"]}
    starts = sorted(placings(machine, explorer))
    run = explorer.search(tests, starts=starts).runs["drives"]
    assert [event.kind for event in run] == ["request"]


# ---------------------------------------------------------- what they prevent


def test_no_route_is_set_over_vehicles_and_no_drive_under_them_is_thrown() -> None:
    machine = machine_of(POINTS)
    state = play(machine, "stands P")
    assert may(machine, state, "request H to T", "request H to U", "request S to W") == [False] * 3
    assert may(machine, play(machine, "stands P", "taken off P"), "request H to U") == [True]
    assert may(machine, play(machine, "stands T"), "request H to T", "request H to U") == [
        False,
        True,
    ]


def test_a_front_that_comes_to_vehicles_meets_them() -> None:
    machine = machine_of(CALLING_ON + "locking written { every route needs its positions }\n")
    begun = ("stands T", "put down H", "request H to T", "signal clears H to T")
    state = play(machine, *begun, "passes signal H for H to T: B.left to B.right")
    (meets,) = (e for e in machine.events if e.kind == "meets" and possible(e, state))
    state = after(meets, state)
    assert not all(holds(i.clause, state) for i in machine.invariants if i.of == "meetings")


# ------------------------------------------------------------------ by hand


def test_vehicles_are_put_only_where_nothing_is_held_kept_coming_or_moving() -> None:
    machine = machine_of(POINTS)
    assert may(machine, play(machine, "request H to T"), "stands P", "stands T") == [False, False]
    assert may(machine, play(machine, "stands P"), "stands P", "stands T") == [False, True]
    assert may(machine, play(machine, "comes in W"), "stands A") == [False]
    overlap = machine_of(WITH_OVERLAP)
    assert may(overlap, play(overlap, "request H to J"), "stands B") == [False]
    long = machine_of("run edge W - A - B - >H - T - stop")
    assert may(long, play(long, "comes in W"), "stands B", "stands T") == [False, True]
    flank = machine_of(POINTS + "run edge E - C - >K - D - stop\nflank K to D = P diverging\n")
    thrown = play(flank, "request K to D")
    assert may(flank, thrown, "stands P", "stands T") == [False, True]
    lying = after(named(flank, "drive arrives P diverging"), thrown)
    assert may(flank, lying, "stands P") == [True]


TO_T = (
    "put down H",
    "request H to T",
    "signal clears H to T",
    "passes signal H for H to T: P.toe to P.straight",
)


def test_a_tail_stays_behind_anywhere_and_a_front_only_where_its_route_has_ended() -> None:
    machine = machine_of(POINTS)
    state = play(machine, *TO_T)
    # It reaches over P, where its front has yet to go on.
    assert may(machine, state, "uncoupled A", "uncoupled P") == [True, False]
    state = play(machine, *TO_T, "uncoupled A")
    assert state["track A"] == STANDING
    # The front is on its way still; once it has come to T, what is left in P is.
    assert may(machine, state, "uncoupled P") == [False]
    on = (*TO_T, "tail leaves A: A.left to A.right", "enters P to T.left: T.left to T.right")
    state = play(machine, *on)
    assert may(machine, state, "uncoupled P", "uncoupled T") == [True, False]
    state = play(machine, *on, "uncoupled P", "uncoupled T")
    assert [state["track P"], state["track T"]] == [STANDING, STANDING]


def test_what_is_left_behind_keeps_its_section_from_being_released_until_it_is_taken_off() -> None:
    machine = machine_of(POINTS)
    left = (
        *TO_T,
        "tail leaves A: A.left to A.right",
        "enters P to T.left: T.left to T.right",
        "uncoupled P",
    )
    release = "section released P by H to T"
    assert may(machine, play(machine, *left), release, "route released H to T") == [False, False]
    assert may(machine, play(machine, *left), "stands P", "request S to W") == [False, False]
    state = play(machine, *left, "taken off P", release, "route released H to T")
    assert state["route H to T"] == "idle"


def test_vehicles_before_a_signal_are_ready_to_leave_only_that_way_and_with_the_drives_right() -> (
    None
):
    machine = machine_of(POINTS)
    ready = {event.name for event in machine.events if event.kind == "ready to leave"}
    assert ready == {"ready to leave H: A.left to A.right", "ready to leave S: T.right to T.left"}
    state = play(machine, "stands T", "ready to leave S: T.right to T.left", "request S to W")
    assert state["track T"] == "front, T.right to T.left"
    over_points = machine_of(
        "points P\nrun stop - A - P.straight\nrun stop - B - P.diverging\n"
        "run P.toe - >H - C - edge E\n"
    )
    state = play(over_points, "stands P")
    straight, diverging = (
        "ready to leave H: P.straight to P.toe",
        "ready to leave H: P.diverging to P.toe",
    )
    assert may(over_points, state, straight, diverging) == [True, False]


def test_a_train_that_stood_in_a_loop_of_one_section_leaves_it_and_is_minded_until_it_has() -> None:
    machine = machine_of(LOOP)
    out = (
        "stands LOOP",
        "ready to leave S: LB.right to LX.left",
        "request S to W",
        "signal clears S to W",
    )
    state = play(machine, *out, "passes signal S for S to W: B.right to B.left")
    assert state["track LOOP"] == "passing, LB.right to LX.left"
    released = "section released B by S to W"
    tail_leaves = "tail leaves LOOP: LB.right to LX.left"
    state = after(named(machine, "enters B to A.right: A.right to A.left"), state)
    assert may(machine, state, "tail leaves B: B.right to B.left", tail_leaves, released) == [
        False,
        True,
        False,
    ]
    state = after(named(machine, tail_leaves), state)
    assert may(machine, state, "tail leaves B: B.right to B.left") == [True]


SPIRAL = """
fixed diamond X
run edge W - A - <S - B - X.a1
run X.a2 - T - X.b1
run X.b2 - U - stop
section SPIRAL = B, X, T
"""


def test_a_train_may_be_put_down_on_track_that_crosses_itself_within_a_section() -> None:
    machine = machine_of(SPIRAL)
    assert may(machine, play(machine), "put down S") == [True]


def test_a_train_is_called_on_to_vehicles_that_stand_in_the_berth_and_takes_them_along() -> None:
    machine = machine_of(CALLING_ON)
    begun = ("stands T", "put down H", "request CALL", "signal clears CALL")
    passed = (*begun, "passes signal H for CALL: B.left to B.right")
    state = play(machine, *passed)
    able = [e.name for e in machine.events if e.kind in ("joins", "meets") and possible(e, state)]
    assert able == ["joins B to T.left"]
    state = play(machine, *passed, "joins B to T.left")
    assert state["track T"] == "front, T.left to T.right"
    assert state["route CALL"] == "train at 2"
