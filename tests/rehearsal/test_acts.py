"""What the acts of a script do: to routes, to trains with front and tail, and in time."""

from __future__ import annotations

import pytest
from rehearsed import FORGETFUL, JUNCTION, OVERLAP, last, met, played, railway, told

from bellcrank.rehearsal.acts import first_moment, perform
from bellcrank.rehearsal.script import read_script

LONG_LINE = """
run edge WEST - A - >H - B - C - D - edge EAST
run edge NORTH - N - >K - M - stop
"""
"""Parts in a row; a train may lie over several."""

CIRCLE = """
points P
run edge IN - A - P.straight
run P.toe - L1 - <R - L2 - P.diverging
"""
"""A ring whose only signal is read the other way round."""

ONE_BERTH = """
run edge WEST - A - >H - B - >K - C - stop
section MIDDLE = B, C
"""
"""A section with a signal in it: two stretches under one detector."""

AT_THE_EDGE = "run edge WEST - >H - A - B - edge EAST\n"


def after(layout: str, script: str) -> dict[str, str]:
    return dict(last(layout, script).moment.state)


# ---------------------------------------------------------------------- routes


def test_a_request_sets_the_route_and_nothing_waits_for_it() -> None:
    outcome = last(JUNCTION, "request H to C")
    assert told(outcome) == ["the operator asks for H to C"]
    assert outcome.moment.state["drive P1"] == "to diverging"
    assert outcome.good


def test_a_refused_request_changes_nothing_and_is_not_good() -> None:
    before, refused = played(JUNCTION, "request H to C\nrequest H to B")
    assert refused.refused == ("P1 is held for H to C",)
    assert refused.moment == before.moment
    assert not refused.steps
    assert not refused.good


def test_wait_throws_the_points_and_then_clears_the_signal() -> None:
    assert told(last(JUNCTION, "request H to C\nwait")) == [
        "P1 comes to lie diverging",
        "H clears for H to C",
    ]


def test_wait_says_so_when_nothing_is_left_to_do() -> None:
    outcome = last(JUNCTION, "wait")
    assert not outcome.steps
    assert outcome.note == "nothing is left to do"
    assert outcome.good


def test_a_route_whose_signal_has_not_cleared_is_cancelled_at_once() -> None:
    state = after(JUNCTION, "request H to C\ncancel H to C")
    assert state["route H to C"] == "idle"
    assert state["held C"] == "not held"


def test_a_route_whose_signal_was_off_is_released_only_when_time_passes() -> None:
    script = "request H to B\nwait\ncancel H to B\nwait\n"
    assert met(JUNCTION, script, "expect H to B being cancelled")
    outcome = last(JUNCTION, script + "time passes")
    assert told(outcome)[-1] == "the time of approach locking is over and H to B is released"
    assert met(JUNCTION, script + "time passes", "expect H to B idle")


def test_wait_lets_no_time_run_out_that_an_overlap_needs() -> None:
    script = "train comes in from WEST\nrequest H0 to H\nwait\ntrain passes H0\nwait\n"
    assert met(OVERLAP, script, "expect H0 to H under way")
    assert met(OVERLAP, script + "time passes", "expect H0 to H idle")


# ---------------------------------------------------------------------- trains


def test_a_train_comes_in_whole() -> None:
    assert told(last(JUNCTION, "train comes in from WEST")) == [
        "a train comes in from WEST to A",
        "the tail of the train comes in from WEST",
    ]


def test_a_long_train_stays_outside_with_its_tail_until_told_to_follow() -> None:
    script = "trains are long\ntrain comes in from WEST\n"
    assert after(JUNCTION, script)["edge WEST"] == "part of a train outside"
    followed = after(JUNCTION, script + "tail of train from WEST follows")
    assert followed["edge WEST"] == "nothing outside"


def test_a_train_that_moves_takes_its_tail_with_it() -> None:
    script = "train stands before H\nrequest H to B\nwait\n"
    assert told(last(JUNCTION, script + "train in A moves")) == [
        "a train passes H and enters P1 with P1 straight",
        "the tail of the train leaves A for P1",
    ]
    assert after(JUNCTION, script + "train in A moves") == after(
        JUNCTION, script + "train passes H"
    )


def test_a_front_that_moves_leaves_its_tail() -> None:
    script = "train stands before H\nrequest H to B\nwait\n"
    for act in ("front of train passes H", "front of train in A moves", "trains are long\n"
                "train passes H"):  # fmt: skip
        state = after(JUNCTION, script + act)
        assert state["track A"].startswith("passing")
        assert state["track P1"].startswith("front")
    followed = after(JUNCTION, script + "front of train passes H\ntail of train in A follows")
    assert followed["track A"] == "clear"


def test_the_tail_of_a_train_over_several_sections_follows_from_the_end() -> None:
    script = """
    train stands before H
    request H to EAST
    wait
    trains are long
    train passes H
    train in B moves
    trains are short
    train in C moves
    """
    assert told(last(LONG_LINE, script)) == [
        "the train in C enters D",
        "the tail of the train leaves A for B",
        "the tail of the train leaves B for C",
        "the tail of the train leaves C for D",
    ]


def test_the_tail_of_another_train_stays_where_it_is() -> None:
    script = """
    trains are long
    train comes in from WEST
    trains are short
    train stands before K
    request K to M
    wait
    train passes K
    """
    assert told(last(LONG_LINE, script))[1:] == ["the tail of the train leaves N for M"]
    assert after(LONG_LINE, script)["edge WEST"] == "part of a train outside"


def test_a_tail_inside_a_train_does_not_move_before_the_end_of_it() -> None:
    script = """
    train stands before H
    request H to EAST
    wait
    trains are long
    train passes H
    train in B moves
    tail of train in B follows
    """
    assert last(LONG_LINE, script).refused == ("the tail of a train is still in A",)


def test_a_train_runs_out_by_an_edge_with_its_tail() -> None:
    script = "train stands before S1\nrequest S1 to WEST\nwait\ntrain passes S1\n"
    outcome = last(JUNCTION, script + "train in P1 moves\ntrain in A moves")
    assert told(outcome) == [
        "the train in A runs out by WEST",
        "the tail of the train leaves A by WEST",
    ]
    assert outcome.moment.state["track A"] == "clear"


def test_a_train_before_a_stop_cannot_go_on_but_turns_back() -> None:
    script = "train stands before H\nrequest H to B\ngo on\n"
    assert last(JUNCTION, script + "train in B moves").refused == (
        "the track ends there for the train in B",
    )
    assert told(last(JUNCTION, script + "train in B turns back")) == [
        "the train in B turns back, to leave past S1"
    ]


@pytest.mark.parametrize(
    ("act", "reason"),
    [
        ("train in A moves", "no train is in A"),
        ("front of train in A moves", "no train is in A"),
        ("train in A turns back", "no train is in A"),
        ("tail of train in A follows", "no train is in A"),
    ],
)
def test_where_no_train_is_none_moves(act: str, reason: str) -> None:
    assert last(JUNCTION, act).refused == (reason,)


def test_the_front_of_a_train_is_not_where_only_its_tail_is() -> None:
    script = "train stands before H\nrequest H to B\nwait\nfront of train passes H\n"
    assert last(JUNCTION, script + "train in A moves").refused == (
        "the front of the train is not in A",
    )
    assert last(JUNCTION, script + "tail of train in P1 follows").refused == (
        "the front of the train has not left P1",
    )


def test_a_train_outside_an_edge_passes_the_signal_that_stands_there() -> None:
    script = "request H to EAST\nwait\ntrain passes H\n"
    assert told(last(AT_THE_EDGE, script)) == [
        "a train passes H and enters A",
        "the tail of the train comes in from WEST",
    ]
    assert after(AT_THE_EDGE, script + "go on")["track B"] == "clear"


def test_a_train_that_is_called_on_draws_up_to_the_one_that_stands_there() -> None:
    script = "train stands before D\ntrain stands before H\nrequest CALL\nwait\ntrain passes H\n"
    outcome = last(OVERLAP, script + "train in C moves")
    assert told(outcome) == [
        "the train in C draws up to the train in T",
        "the tail of the train leaves C for T",
    ]
    assert outcome.moment.state["track C"] == "clear"


def test_one_of_two_trains_in_a_section_must_be_named_by_its_piece() -> None:
    layout = ONE_BERTH + "locking written { every route needs its positions }\n"
    script = """
    train stands before K
    request K to C
    wait
    train passes K
    request H to K
    wait
    train stands before H
    """
    both = railway(layout)
    state = after(layout, script)
    # Put a second train where the first came from: the machine itself forbids it.
    state["track MIDDLE at B"] = "front, B.left to B.right"
    moment = first_moment(both)
    (line,), _ = read_script("train in MIDDLE moves", "script", both)
    outcome = perform(both, type(moment)(state), line)
    assert outcome.refused == ("more than one train is in MIDDLE",)
    (line,), _ = read_script("train in B moves", "script", both)
    assert perform(both, type(moment)(state), line).refused != outcome.refused


# -------------------------------------------------------------- of its own accord


def test_go_on_takes_trains_as_far_as_signals_let_them() -> None:
    outcome = last(JUNCTION, "train stands before H\nrequest H to C\ngo on")
    assert told(outcome)[-1] == "H to C is released: its train has arrived whole"
    assert outcome.moment.state["track C"] == "front, C.left to C.right"
    assert told(last(JUNCTION, "train stands before H\ngo on")) == []


def test_go_on_lets_the_times_of_overlaps_run_out_last() -> None:
    outcome = last(OVERLAP, "train comes in from WEST\nrequest H0 to H\ngo on")
    assert told(outcome)[-1] == "the overlap of H0 to H times out and the route is released"


def test_go_on_takes_no_train_past_a_signal_that_was_just_put_back() -> None:
    script = "train stands before H\nrequest H to B\nwait\ncancel H to B\n"
    outcome = last(JUNCTION, script + "go on")
    assert outcome.moment.state["track A"] == "front, A.left to A.right"
    assert outcome.moment.state["route H to B"] == "idle"
    overrun = last(JUNCTION, script + "train passes H")
    assert told(overrun)[0].startswith("a train passes H")
    assert overrun.moment.state["track P1"].startswith("front")


def test_go_on_leaves_the_tails_of_long_trains() -> None:
    script = "trains are long\ntrain stands before H\nrequest H to B\ngo on"
    state = after(JUNCTION, script)
    assert state["track A"].startswith("passing")
    assert state["track P1"].startswith("passing")
    assert state["track B"].startswith("front")
    assert state["route H to B"] != "idle"


def test_go_on_stops_where_something_unsafe_happens() -> None:
    script = "train stands before H\ntrain stands before S1\nrequest H to B\ngo on"
    outcome = last(FORGETFUL, script)
    assert outcome.unsafe
    assert not outcome.good
    assert outcome.steps[-1].broken
    assert not any(step.broken for step in outcome.steps[:-1])


def test_go_on_comes_to_an_end_where_a_train_goes_round_and_round() -> None:
    """Nothing stops it that way round. No train can get there, so one is set down by hand."""
    of = railway(CIRCLE)
    state = of.machine.start()
    state["track L1"] = "front, L1.left to L1.right"
    state["drive P"] = "diverging"
    moment = type(first_moment(of))(state)
    (line,), _ = read_script("go on", "script", of)
    outcome = perform(of, moment, line)
    assert outcome.note == "and so on, round and round"
    assert len(outcome.steps) < 10


# ----------------------------------------------------------------- single events


def test_a_sentence_does_its_event_and_no_more() -> None:
    outcome = last(JUNCTION, "a train comes in from WEST to A")
    assert [step.event.name for step in outcome.steps] == ["comes in WEST"]
    assert outcome.moment.state["edge WEST"] == "part of a train outside"


def test_an_event_is_done_by_its_name() -> None:
    outcome = last(JUNCTION, "event request H to C\nevent drive arrives P1 diverging")
    assert told(outcome) == ["P1 comes to lie diverging"]


def test_an_event_that_is_not_possible_is_refused_with_reasons() -> None:
    assert last(JUNCTION, "P1 comes to lie diverging").refused == ("P1 lies straight",)


def test_where_more_than_one_thing_may_happen_the_script_must_say_which() -> None:
    """Without locking, two routes from one signal can be in their time of approach locking."""
    layout = """
    run edge WEST - A - >H - B - stop
    signal H shows stop, call, clear
    route CALL = H to B calling on shows call
    locking written { every route needs its positions }
    """
    script = """
    train stands before H
    request H to B
    wait
    cancel H to B
    event time runs out H
    request CALL
    wait
    cancel CALL
    train passes H
    """
    (reason,) = last(layout, script).refused
    assert reason == (
        "more than one thing may happen; say which: "
        "`event passes signal H for H to B: B.left to B.right`, "
        "or `event passes signal H for CALL: B.left to B.right`"
    )
    name = "event passes signal H for CALL: B.left to B.right"
    chosen = last(layout, script.replace("train passes H", name))
    assert chosen.moment.state["route CALL"] == "train at 1"


# --------------------------------------------------------------------- the start


def test_points_may_lie_otherwise_at_first() -> None:
    outcomes = played(JUNCTION, "at first P1 lies diverging\nrequest H to C\nwait")
    assert outcomes[0].good
    assert told(outcomes[-1]) == ["H clears for H to C"]


def test_once_something_has_happened_it_is_too_late_for_that() -> None:
    outcome = last(JUNCTION, "request H to C\nat first P1 lies diverging")
    assert outcome.refused == ("something has happened already; this belongs before all else",)
    assert played(JUNCTION, "trains are long\nat first P1 lies diverging")[-1].good


def test_the_sentence_that_trains_are_short_ends_that_they_are_long() -> None:
    script = "trains are long\ntrains are short\ntrain comes in from WEST"
    assert after(JUNCTION, script)["edge WEST"] == "nothing outside"
