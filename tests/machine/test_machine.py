"""What the machine says on the smallest layouts: what may happen when, and what comes of it."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import pytest
from random_layouts import random_layout
from sound_layouts import machine_of

import bellcrank
from bellcrank.machine.machine_model import Clause, Event, Machine, State, after, holds, possible

EXAMPLES = Path(__file__).parents[2] / "examples"


def named(machine: Machine, name: str) -> Event:
    (event,) = (event for event in machine.events if event.name == name)
    return event


def names(machine: Machine, *kinds: str) -> set[str]:
    return {event.name for event in machine.events if event.kind in kinds}


def plain(clauses: Iterable[Clause]) -> set[str]:
    """Clauses as words: `X is a or b; or Y is c`."""
    return {
        "; or ".join(f"{x.variable} is {' or '.join(sorted(x.values))}" for x in clause)
        for clause in clauses
    }


def play(machine: Machine, *events: str, **lying: str) -> State:
    """The state after some events, each of which may happen when it does."""
    state: State = {**machine.start(), **{f"drive {d}": p for d, p in lying.items()}}
    for name in events:
        event = named(machine, name)
        assert possible(event, state), f"{name} cannot happen"
        state = after(event, state)
    return state


def may(machine: Machine, state: State, *kinds: str) -> set[str]:
    """The events of some kinds that may happen in a state."""
    return {e.name for e in machine.events if e.kind in kinds and possible(e, state)}


def differing(machine: Machine, state: State) -> dict[str, str]:
    """What is otherwise than at the start."""
    return {name: value for name, value in state.items() if value != machine.start()[name]}


LINE = "run edge W - A - >D - L - T - stop\n"

BRANCH = """
points P
run edge W - A - >H - P.toe
run P.straight - T - stop
run P.diverging - <S - U - stop
"""

# ------------------------------------------------------------------------- the whole


def test_the_smallest_line_has_these_events_and_no_others() -> None:
    machine = machine_of(LINE)
    assert {event.name for event in machine.events} == {
        "request D to T",
        "signal clears D to T",
        "cancel D to T",
        "put back D to T",
        "released by time D to T",
        "section released L by D to T",
        "route released D to T",
        "time runs out D",
        "comes in W",
        "wholly in W",
        "put down D",
        "passes signal D for D to T: L.left to L.right",
        "passes signal D put back to stop: L.left to L.right",
        "meets D for D to T",
        "meets D put back to stop",
        "enters L to T.left: T.left to T.right",
        "enters L to A.right: A.right to A.left",
        "enters T to L.right: L.right to L.left",
        "leaves by W from A.left",
        "meets L to T.left",
        "meets L to A.right",
        "meets T to L.right",
        "turns back A: A.right to A.left",
        "tail leaves A: A.left to A.right",
        "tail leaves A: A.right to A.left",
        "tail leaves L: L.left to L.right",
        "tail leaves L: L.right to L.left",
        "tail leaves T: T.right to T.left",
        *(f"{what} {where}" for what in ("stands", "taken off", "uncoupled") for where in "ALT"),
        "ready to leave D: A.left to A.right",
    }


def test_the_smallest_line_has_these_variables() -> None:
    machine = machine_of(LINE)
    assert {n: (v.kind, v.of) for n, v in machine.variables.items()} == {
        "track A": ("track", "A"),
        "track L": ("track", "L"),
        "track T": ("track", "T"),
        "edge W": ("edge", "W"),
        "signal D": ("signal", "D"),
        "route D to T": ("route", "D to T"),
        "held A": ("held", "A"),
        "held L": ("held", "L"),
        "held T": ("held", "T"),
    }
    assert machine.variables["route D to T"].values == (
        "idle",
        "set",
        "being cancelled",
        "train at 1",
        "train at 2",
    )
    # A train at a stop can go no further.
    assert machine.variables["track T"].values == (
        "clear",
        "front, T.left to T.right",
        "front, T.right to T.left",
        "passing, T.right to T.left",
        "vehicles standing",
        "two trains",
    )


def test_at_the_start_nothing_is_about_and_drives_lie_anywhere() -> None:
    machine = machine_of(BRANCH)
    free = {n: v.initial for n, v in machine.variables.items() if len(v.initial) > 1}
    assert free == {"drive P": ("straight", "diverging")}
    assert machine.start()["drive P"] == "straight"


def test_a_train_goes_in_over_a_branch_step_by_step() -> None:
    machine = machine_of(BRANCH)
    story = {
        "comes in W": {
            "track A": "front, A.left to A.right",
            "edge W": "part of a train outside",
        },
        "request H to T": {"route H to T": "set", "held P": "H to T", "held T": "H to T"},
        "signal clears H to T": {"signal H": "H to T"},
        "passes signal H for H to T: P.toe to P.straight": {
            "signal H": "at stop",
            "route H to T": "train at 1",
            "track A": "passing, A.left to A.right",
            "track P": "front, P.toe to P.straight",
        },
        "wholly in W": {"edge W": "nothing outside"},
        "tail leaves A: A.left to A.right": {"track A": "clear"},
        "enters P to T.left: T.left to T.right": {
            "track P": "passing, P.toe to P.straight",
            "track T": "front, T.left to T.right",
            "route H to T": "train at 2",
        },
        "tail leaves P: P.toe to P.straight": {"track P": "clear"},
        "section released P by H to T": {"held P": "not held"},
        "route released H to T": {"route H to T": "idle", "held T": "not held"},
    }
    state = dict(machine.start())
    for name, changes in story.items():
        event = named(machine, name)
        assert possible(event, state), name
        following = after(event, state)
        assert {n: v for n, v in following.items() if v != state[n]} == changes, name
        state = following
    assert differing(machine, state) == {"track T": "front, T.left to T.right"}


# --------------------------------------------------------------------------- requests


def test_a_request_is_granted_if_the_derived_rules_would_hold() -> None:
    request = named(machine_of(BRANCH), "request H to T")
    assert plain(request.guard) == {
        "route H to T is idle",
        "held P is not held",
        "held T is not held",
        "track P is clear",
        "track T is clear",
        "drive P is straight or to straight; or track P is clear",
    }
    assert request.updates == {
        "route H to T": {"idle": "set"},
        "held P": {"not held": "H to T"},
        "held T": {"not held": "H to T"},
        "drive P": {"diverging": "to straight", "to diverging": "to straight"},
    }


def test_with_written_locking_a_request_asks_for_nothing_that_is_not_written() -> None:
    text = BRANCH + "locking written { %s }\n"
    bare = named(machine_of(text % ""), "request H to T")
    assert plain(bare.guard) == {"route H to T is idle"}
    # What was held for another is held for this one from now on; no drive is thrown.
    assert bare.updates == {
        "route H to T": {"idle": "set"},
        "held P": dict.fromkeys(("not held", "H to U", "S to W"), "H to T"),
        "held T": {"not held": "H to T"},
    }
    locked = named(machine_of(text % "H to T locks S to W"), "request S to W")
    assert plain(locked.guard) == {"route S to W is idle", "route H to T is idle"}
    clear = named(machine_of(text % "H to T needs T clear"), "request H to T")
    assert plain(clear.guard) == {"route H to T is idle", "track T is clear"}


def test_a_written_need_of_a_drive_is_sent_and_waited_for_and_kept() -> None:
    machine = machine_of(BRANCH + "locking written { H to T needs P straight  }\n")
    assert named(machine, "request H to T").updates["drive P"] == {
        "diverging": "to straight",
        "to diverging": "to straight",
    }
    assert "drive P is straight" in plain(named(machine, "signal clears H to T").guard)
    both = machine_of(
        BRANCH + "locking written {\n H to T needs P straight\n S to W needs P diverging\n}\n"
    )
    assert plain(named(both, "request S to W").guard) == {
        "route S to W is idle",
        "drive P is diverging or to diverging; or route H to T is idle",
    }


@pytest.mark.parametrize("rule", ["", "every drive needs its section clear"])
def test_a_written_rule_keeps_drives_from_moving_under_trains(rule: str) -> None:
    text = BRANCH + "locking written {\n every route needs its positions\n %s\n}\n"
    asks = "drive P is straight or to straight; or track P is clear"
    assert (asks in plain(named(machine_of(text % rule), "request H to T").guard)) == bool(rule)


def test_a_lock_with_a_condition_counts_only_while_the_drives_lie_so() -> None:
    machine = machine_of(BRANCH + "locking written { H to T locks S to W when P straight }\n")
    assert plain(named(machine, "request H to T").guard) == {
        "route H to T is idle",
        "route S to W is idle; or drive P is diverging or to diverging",
    }


def test_a_route_that_another_needs_set_comes_first_and_is_cancelled_last() -> None:
    text = LINE + "run edge X - B - >E - M - stop\nlocking derive { D to T needs E to M set }\n"
    machine = machine_of(text)
    state = play(machine)
    assert may(machine, state, "request") == {"request E to M"}
    state = play(machine, "request E to M", "request D to T")
    assert may(machine, state, "cancel") == {"cancel D to T"}
    cancelled = after(named(machine, "cancel D to T"), state)
    assert may(machine, cancelled, "cancel") == {"cancel E to M"}


# ------------------------------------------------------------------ signals and drives


def test_a_signal_clears_once_the_drives_have_arrived() -> None:
    machine = machine_of(BRANCH)
    state = play(machine, "request H to T", P="diverging")
    assert state["drive P"] == "to straight"
    assert not may(machine, state, "signal clears")
    state = after(named(machine, "drive arrives P straight"), state)
    assert state["drive P"] == "straight"
    assert may(machine, state, "signal clears") == {"signal clears H to T"}


def test_a_drive_that_lies_right_is_not_thrown() -> None:
    machine = machine_of(BRANCH)
    assert play(machine, "request H to T", P="straight")["drive P"] == "straight"


def test_a_signal_shows_the_aspect_of_its_route() -> None:
    text = (
        BRANCH + "signal H shows stop, caution, clear\nroute H to U shows caution\nroutes derive\n"
    )
    machine = machine_of(text)
    assert named(machine, "signal clears H to U").text == "H shows caution for H to U"
    assert named(machine, "signal clears H to T").text == "H shows clear for H to T"


def test_a_passed_signal_goes_to_stop_and_its_route_can_no_more_be_cancelled() -> None:
    machine = machine_of(LINE)
    start = ("put down D", "request D to T", "signal clears D to T")
    assert may(machine, play(machine, *start), "cancel") == {"put back D to T"}
    state = play(machine, *start, "passes signal D for D to T: L.left to L.right")
    assert state["signal D"] == "at stop"
    assert not may(machine, state, "cancel", "signal clears", "request")


# ---------------------------------------------------------------- cancel and release


def test_a_route_whose_signal_has_not_cleared_is_cancelled_at_once() -> None:
    machine = machine_of(LINE)
    state = play(machine, "request D to T")
    assert may(machine, state, "cancel") == {"cancel D to T"}
    assert differing(machine, play(machine, "request D to T", "cancel D to T")) == {}


def test_a_route_whose_signal_was_off_stays_held_until_the_time_is_over() -> None:
    machine = machine_of(LINE)
    begun = ("request D to T", "signal clears D to T", "put back D to T")
    state = play(machine, *begun)
    assert state["signal D"] == "just put back to stop"
    assert state["held L"] == state["held T"] == "D to T"
    assert not may(machine, state, "released by time", "request", "signal clears")
    assert may(machine, state, "time runs out") == {"time runs out D"}
    state = play(machine, *begun, "time runs out D")
    assert may(machine, state, "released by time") == {"released by time D to T"}
    assert not may(machine, state, "signal clears")
    state = play(machine, *begun, "time runs out D", "released by time D to T")
    assert differing(machine, state) == {}


def test_a_train_that_could_not_stop_any_more_is_under_way_as_if_nothing_had_been() -> None:
    machine = machine_of(LINE)
    begun = ("put down D", "request D to T", "signal clears D to T", "put back D to T")
    passes = "passes signal D for D to T: L.left to L.right"
    state = play(machine, *begun, passes)
    assert state == play(machine, *begun[:-1], passes)
    # Once the time is over it has stopped.
    assert not may(machine, play(machine, *begun, "time runs out D"), "passes signal")


UNDER_WAY = (
    "put down D",
    "request D to T",
    "signal clears D to T",
    "passes signal D for D to T: L.left to L.right",
    "tail leaves A: A.left to A.right",
    "enters L to T.left: T.left to T.right",
)


def test_a_section_is_released_once_the_train_is_wholly_beyond_it() -> None:
    machine = machine_of(LINE)
    assert not may(machine, play(machine, *UNDER_WAY[:-1]), "section released")
    assert not may(machine, play(machine, *UNDER_WAY), "section released", "route released")
    behind = (*UNDER_WAY, "tail leaves L: L.left to L.right")
    state = play(machine, *behind)
    assert may(machine, state, "section released") == {"section released L by D to T"}
    assert not may(machine, state, "route released")
    state = play(machine, *behind, "section released L by D to T")
    assert may(machine, state, "route released") == {"route released D to T"}


@pytest.mark.parametrize(
    "text",
    [
        LINE + "release whole routes\n",
        'layout "Quay" without detection\n' + LINE,
        LINE + "section BLIND = L without detection\n",
        LINE + "section BLIND = T without detection\n",
    ],
)
def test_a_route_is_released_whole_if_said_or_if_part_of_it_is_not_detected(text: str) -> None:
    machine = machine_of(text)
    assert not names(machine, "section released")
    assert not may(machine, play(machine, *_renamed(machine, UNDER_WAY)), "route released")
    behind = _renamed(machine, (*UNDER_WAY, "tail leaves L: L.left to L.right"))
    state = play(machine, *behind)
    assert may(machine, state, "route released") == {"route released D to T"}
    released = after(named(machine, "route released D to T"), state)
    assert not any(v for n, v in differing(machine, released).items() if n.startswith("held"))


def _renamed(machine: Machine, events: tuple[str, ...]) -> list[str]:
    """The events with the names they have where a section has another name."""
    known = {event.name for event in machine.events}
    blind = {e.replace("tail leaves L", "tail leaves BLIND"): e for e in events}
    other = {e.replace("enters L", "enters BLIND"): e for e in events}
    names = {original: new for new, original in (*blind.items(), *other.items()) if new in known}
    return [names.get(e, e) for e in events]


# ------------------------------------------------------------------- trains come and go

LONG_WAY_IN = "run edge W - A - B - >D - L - <U - C - edge E\n"


def test_a_train_comes_in_only_while_all_track_up_to_the_first_signal_is_free() -> None:
    comes_in = named(machine_of(LONG_WAY_IN), "comes in W")
    assert plain(comes_in.guard) == {
        "edge W is nothing outside",
        "track A is clear",
        "held A is not held",
        "track B is clear",
        "held B is not held",
    }
    assert set(comes_in.updates) == {"track A", "edge W"}


def test_a_route_into_track_where_a_train_may_come_in_waits_for_that_train() -> None:
    machine = machine_of("run edge W - A - B - >D - <V - L - <U - C - edge E\n")
    # U ends at V, before which no train comes in; V leads out over B and A.
    assert "track A is clear" in plain(named(machine, "request V to W").guard)
    text = "points P\nrun edge W - A - B - >D - P.straight\nrun P.toe - C - edge E\n"
    text += "run edge X - >K - P.diverging\noverlap D = P\n"
    assert names(machine_of(text), "comes in") == {"comes in W"}


def test_a_train_is_put_down_only_before_a_signal_and_where_none_comes_in() -> None:
    machine = machine_of(LONG_WAY_IN)
    assert names(machine, "put down") == {"put down D", "put down U"}
    assert plain(named(machine, "put down D").guard) == {
        "track B is clear",
        "held B is not held",
        "track A is clear",
    }


def test_at_a_signal_that_stands_at_the_edge_a_train_comes_straight_in() -> None:
    machine = machine_of("run edge W - >D - L - stop\n")
    assert not names(machine, "comes in", "put down")
    state = play(machine, "request D to L", "signal clears D to L")
    assert may(machine, state, "passes signal") == {"passes signal D for D to L: L.left to L.right"}
    state = after(named(machine, "passes signal D for D to L: L.left to L.right"), state)
    assert state["edge W"] == "part of a train outside"
    # No second train while part of the first is still outside.
    assert not may(machine, state, "passes signal", "meets", "route released")
    assert may(machine, after(named(machine, "wholly in W"), state), "route released")


def test_no_train_comes_in_by_an_edge_without_a_signal() -> None:
    machine = machine_of(BRANCH.replace("T - stop", "T - edge X"))
    assert "edge X" not in machine.variables
    assert names(machine, "comes in", "wholly in") == {"comes in W", "wholly in W"}
    assert "edges watched" in machine.assumptions
    assert "X" in machine.assumptions["edges watched"]


def test_a_train_turns_back_only_where_a_signal_lets_it_out() -> None:
    # At T there is no signal to leave by.
    assert names(machine_of(BRANCH), "turns back") == {
        "turns back A: A.right to A.left",
        "turns back U: U.left to U.right",
    }


def test_a_train_turns_back_when_it_is_wholly_in_and_its_route_has_ended() -> None:
    machine = machine_of(BRANCH)
    begun = (
        "put down H",
        "request H to U",
        "drive arrives P diverging",
        "signal clears H to U",
        "passes signal H for H to U: P.toe to P.diverging",
        "tail leaves A: A.left to A.right",
        "enters P to U.left: U.left to U.right",
    )
    assert not may(machine, play(machine, *begun), "turns back")
    state = play(machine, *begun, "tail leaves P: P.toe to P.diverging")
    assert may(machine, state, "turns back") == {"turns back U: U.left to U.right"}
    turned = after(named(machine, "turns back U: U.left to U.right"), state)
    assert turned["track U"] == "front, U.right to U.left"


def test_a_train_does_not_turn_back_halfway_along_its_route() -> None:
    machine = machine_of("run edge W - A - >D - <U - B - C - stop\n")
    state = play(
        machine,
        "put down D",
        "request D to C",
        "signal clears D to C",
        "passes signal D for D to C: B.left to B.right",
        "tail leaves A: A.left to A.right",
    )
    assert not may(machine, state, "turns back")
    assert "turns back B: B.left to B.right" in names(machine, "turns back")


def test_a_front_follows_the_points_as_they_lie_whatever_was_meant() -> None:
    machine = machine_of(BRANCH + "locking written { }\n")
    state = play(machine, "put down H", "request H to T", "signal clears H to T", P="diverging")
    assert may(machine, state, "passes signal", "derails") == {
        "passes signal H for H to T: P.toe to P.diverging"
    }


@pytest.mark.parametrize("lies", ["straight", "to straight", "to diverging"])
def test_a_train_comes_off_the_rails_at_points_that_move_or_lie_against_it(lies: str) -> None:
    machine = machine_of(BRANCH + "locking written { }\n")
    state = play(machine, "put down S", "request S to W", "signal clears S to W", P=lies)
    assert may(machine, state, "passes signal", "derails") == {"derails S for S to W"}
    state = after(named(machine, "derails S for S to W"), state)
    assert state["track P"] == "off the rails"
    wrong = [i for i in machine.invariants if not holds(i.clause, state)]
    assert "derailments" in {i.of for i in wrong}


def test_three_way_points_are_passed_as_both_drives_lie() -> None:
    machine = machine_of(
        "three way points P\nrun edge W - >H - P.toe\nrun P.left - X - stop\n"
        "run P.straight - Y - stop\nrun P.right - Z - stop\nlocking written { }\n"
    )
    begun = ("request H to X", "signal clears H to X")
    for left, right, way in (
        ("diverging", "straight", "left"),
        ("straight", "straight", "straight"),
        ("straight", "diverging", "right"),
    ):
        state = play(machine, *begun, **{"P.to_left": left, "P.to_right": right})
        assert may(machine, state, "passes signal", "derails") == {
            f"passes signal H for H to X: P.toe to P.{way}"
        }
    state = play(machine, *begun, **{"P.to_left": "diverging", "P.to_right": "diverging"})
    assert may(machine, state, "passes signal", "derails") == {"derails H for H to X"}


def test_coupled_drives_are_one_drive_that_is_thrown_while_no_train_is_over_either() -> None:
    machine = machine_of(
        "points PA, PB\ncoupled PA, PB\nrun edge A1 - >HA - PA.toe\n"
        "run PA.straight - edge A2\nrun edge B1 - >HB - PB.straight\nrun PB.toe - edge B2\n"
        "run PA.diverging - PB.diverging\n"
    )
    assert [v.of for v in machine.variables.values() if v.kind == "drive"] == ["PA"]
    asked = plain(named(machine, "request HA to A2").guard)
    for over in ("PA", "PB"):
        assert f"drive PA is straight or to straight; or track {over} is clear" in asked


# --------------------------------------------------------- overlaps and calling on

WITH_OVERLAP = "run edge W - A - >D1 - L - >D2 - B - stop\noverlap D2 = B\n"


def test_an_overlap_stays_until_it_times_out_or_the_train_has_gone_on() -> None:
    machine = machine_of(WITH_OVERLAP)
    begun = (
        "put down D1",
        "request D1 to D2",
        "signal clears D1 to D2",
        "passes signal D1 for D1 to D2: L.left to L.right",
    )
    assert play(machine, *begun)["route D1 to D2"] == "train at 1"
    on = (*begun, "request D2 to B", "signal clears D2 to B")
    state = play(machine, *on, "passes signal D2 for D2 to B: B.left to B.right")
    assert state["route D1 to D2"] == "its train has gone on"
    released = named(machine, "route released D1 to D2")
    assert released.text == "the overlap of D1 to D2 times out and the route is released"
    # Not before the tail has come out of the section behind.
    assert not possible(released, play(machine, *begun))
    gone = play(machine, *begun, "tail leaves A: A.left to A.right")
    assert possible(released, gone)


def test_the_overlap_must_be_clear_and_stays_so_for_others() -> None:
    machine = machine_of(WITH_OVERLAP)
    assert "track B is clear" in plain(named(machine, "request D1 to D2").guard)
    free = machine_of(WITH_OVERLAP.replace("B - stop", "B - <U - C - edge E"))
    asked = play(free, "request D1 to D2")
    assert "request U to W" not in may(free, asked, "request")


CALLING_ON = """
points P
run edge W - A - >H - P.toe
run P.straight - <S - T - stop
run P.diverging - U - stop
signal H shows stop, call, clear
routes derive
route CALL = H to T calling on shows call
"""


def test_a_train_is_called_on_into_an_occupied_berth_and_no_other_is() -> None:
    machine = machine_of(CALLING_ON)
    state = play(machine, "put down S", "put down H")
    assert may(machine, state, "request") == {"request CALL", "request H to U"}
    begun = ("put down S", "put down H", "request CALL", "signal clears CALL")
    passed = (*begun, "passes signal H for CALL: P.toe to P.straight")
    state = play(machine, *passed)
    assert may(machine, state, "joins", "meets") == {"joins P to T.left"}
    state = after(named(machine, "joins P to T.left"), state)
    # The two are one train now, which has its front at the stop.
    assert state["track T"] == "front, T.left to T.right"
    assert state["route CALL"] == "train at 2"


LONG_BERTH = """
run edge W - A - >H - T1 - <M - T2 - stop
section T = T1, T2
signal H shows stop, call, clear
routes derive
route CALL = H to T2 calling on shows call
"""

CALLED_ON = ("put down H", "request CALL", "signal clears CALL")


def test_a_train_beyond_a_signal_in_the_berth_is_not_met_but_come_to() -> None:
    machine = machine_of(LONG_BERTH)
    passed = "passes signal H for CALL: T1.left to T1.right"
    state = play(machine, "put down M", *CALLED_ON, passed)
    assert may(machine, state, "enters", "joins", "meets") == {"joins T at T1 to T2.left"}
    state = after(named(machine, "joins T at T1 to T2.left"), state)
    assert state["track T at T2"] == "front, T2.left to T2.right"
    assert state["route CALL"] == "train at 2"


def test_a_train_in_a_berth_is_drawn_up_to_before_a_signal_there_and_goes_on_as_one() -> None:
    machine = machine_of(LONG_BERTH)
    state = play(machine, "stands T at T1", *CALLED_ON, "joins H for CALL")
    assert state["track T at T1"] == "front, T1.left to T1.right"
    assert state["route CALL"] == "train at 1"
    # Its route has not ended yet, and it is called on still.
    assert not possible(named(machine, "route released CALL"), state)
    assert may(machine, state, "enters") == {"enters T at T1 to T2.left: T2.left to T2.right"}


def test_a_train_that_reaches_over_a_signal_in_a_berth_is_drawn_up_to_at_its_tail() -> None:
    machine = machine_of(LONG_BERTH)
    come = ("put down H", "request H to T2", "signal clears H to T2",
            "passes signal H for H to T2: T1.left to T1.right",
            "enters T at T1 to T2.left: T2.left to T2.right",
            "tail leaves A: A.left to A.right", "route released H to T2")  # fmt: skip
    state = play(machine, *come, *CALLED_ON)
    assert state["track T at T1"] == "passing, T1.left to T1.right"
    joins = "joins H for CALL, which reaches to T at T2"
    assert may(machine, state, "passes signal", "joins", "meets") == {joins}
    # What is one train now has its front where the route ends.
    assert after(named(machine, joins), state)["route CALL"] == "train at 2"


def test_a_train_runs_into_one_that_it_is_not_called_on_to_join() -> None:
    machine = machine_of(CALLING_ON + "locking written { every route needs its positions }\n")
    state = play(
        machine,
        "put down S",
        "put down H",
        "request H to T",
        "signal clears H to T",
        "passes signal H for H to T: P.toe to P.straight",
    )
    assert may(machine, state, "joins", "meets") == {"meets P to T.left"}


# ---------------------------------------------------------------------- assumptions


def test_each_assumption_is_there_where_it_is_made() -> None:
    always = {
        "signals obeyed",
        "points hold",
        "track as written",
        "in the time allowed",
        "put on clear track",
        "vehicles stand",
    }
    always.add("no way back")
    detected = machine_of(LINE).assumptions
    assert set(detected) == always | {"edges ask first", "detection tells the truth"}
    nothing = machine_of('layout "Quay" without detection\n' + LINE).assumptions
    assert set(nothing) == always | {"edges ask first", "the operator looks"}
    assert "nothing is detected" in nothing["the operator looks"]
    some = machine_of(LINE + "section BLIND = L without detection\n").assumptions
    assert {"detection tells the truth", "the operator looks"} <= set(some)
    assert "(BLIND)" in some["the operator looks"]
    no_edge = machine_of("run stop - A - >D - L - stop\n").assumptions
    assert set(no_edge) == always | {"detection tells the truth"}


@pytest.mark.parametrize("called", ["", "route CALL = H to T calling on shows call\n"])
def test_drawing_up_at_sight_is_assumed_where_a_train_may_be_called_on(called: str) -> None:
    machine = machine_of(
        f"run edge W - A - >H - T - stop\nsignal H shows stop, call, clear\nroutes derive\n{called}"
    )
    joins = any(event.kind == "joins" for event in machine.events)
    assert joins == bool(called)
    assert ("drawn up at sight" in machine.assumptions) == joins


@pytest.mark.parametrize("name", ["four-track-station", "harbour-terminus", "turning-loop"])
def test_an_example_assumes_drawing_up_at_sight_just_if_a_route_of_it_calls_on(name: str) -> None:
    compiled = bellcrank.compile_file(EXAMPLES / f"{name}.crank")
    assert isinstance(compiled, bellcrank.Sound)
    calls_on = any(route.calling_on for route in compiled.table.routes.values())
    assert ("drawn up at sight" in compiled.machine.assumptions) == calls_on
    assert ("drawn up at sight" in compiled.composed.assumptions) == calls_on


def test_a_drive_that_reports_and_one_that_is_timed_differ_in_assumptions_only() -> None:
    timed, reporting = machine_of(BRANCH), machine_of(BRANCH + "drive P detected\n")
    assert timed.events == reporting.events
    assert timed.variables == reporting.variables
    assert timed.invariants == reporting.invariants
    assert "(P)" in timed.assumptions["drives arrive in time"]
    assert set(timed.assumptions) - set(reporting.assumptions) == {"drives arrive in time"}


# ------------------------------------------------------------------- random layouts


def test_machines_of_random_layouts_speak_of_nothing_that_is_not_there() -> None:
    machines = 0
    for seed in range(15):
        text = random_layout(seed).text
        c = bellcrank.compile(text)
        if isinstance(c, bellcrank.Broken):
            continue
        machine = c.machine
        machines += 1
        values = {name: set(v.values) for name, v in machine.variables.items()}
        assert all(v.name == name for name, v in machine.variables.items())
        assert all(set(v.initial) <= set(v.values) for v in machine.variables.values())
        assert len({event.name for event in machine.events}) == len(machine.events), text
        stated = [*(i.clause for i in machine.invariants), *machine.lemmas]
        for clause in (*stated, *(c for event in machine.events for c in event.guard)):
            assert all(x.values <= values[x.variable] for x in clause)
        for event in machine.events:
            assert event.updates
            for name, becomes in event.updates.items():
                assert {*becomes, *becomes.values()} <= values[name], event.name
        assert len({frozenset(c) for c in machine.lemmas}) == len(machine.lemmas)
        assert c == bellcrank.compile(text)
    assert machines >= 8
