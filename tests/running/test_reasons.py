"""Why a wish is refused, in the operator's words."""

from __future__ import annotations

import random

import pytest
from rehearsed import FORGETFUL, JUNCTION, OVERLAP, last, railway
from sound_layouts import compiled

from bellcrank.controller.controller_model import Reaction
from bellcrank.machine.machine_model import Event, possible
from bellcrank.running.reasons import fact, why_not

SLIP = """
points P1
double slip X with one drive
run edge WEST - A - >W - P1.toe
run P1.straight - X.a1
run P1.diverging - <N - M - stop
run edge YARD - Y - >V - X.b1
run X.a2 - <D - T - stop
run X.b2 - <E - U - stop
"""

BESIDE = """
points P
run edge WEST - A - >W - P.toe
run P.straight - <D - T - stop
run P.diverging - SIDING - <S - SHED - stop
run edge EAST - B - >V - C - stop
locking written {
  every route needs its positions
  V to C needs P diverging
}
"""
"""A route that needs points beside its way."""


def reasons(layout: str, script: str) -> tuple[str, ...]:
    """The reasons against the last act of a script."""
    return last(layout, script).refused


def test_a_section_held_for_another_route_is_named_with_the_route() -> None:
    assert reasons(JUNCTION, "request H to B\nrequest S2 to WEST") == ("P1 is held for H to B",)


def test_sections_held_for_one_route_are_named_together() -> None:
    assert reasons(JUNCTION, "request S1 to WEST\nrequest S2 to WEST") == (
        "P1 and A are held for S1 to WEST",
    )


def test_a_train_in_the_way_is_named_with_its_place() -> None:
    assert reasons(JUNCTION, "train stands before S1\nrequest H to B") == ("a train is in B",)


def test_several_sections_that_are_not_clear_are_named_together() -> None:
    script = "train stands before H\ntrain stands before S1\nrequest S1 to WEST\n"
    assert reasons(JUNCTION, script) == ("a train is in A",)
    script = """
    trains are long
    train stands before S1
    request S1 to WEST
    wait
    train passes S1
    train in P1 moves
    request H to B
    """
    assert reasons(JUNCTION, script) == (
        "P1 is held for S1 to WEST",
        "P1 and B are not clear",
    )


def test_a_route_that_is_set_already_is_told_so_and_no_more() -> None:
    assert reasons(JUNCTION, "request H to B\nrequest H to B") == ("H to B is set already",)


def test_a_route_whose_train_is_under_way_is_told_so() -> None:
    script = "train stands before H\nrequest H to B\nwait\ntrain passes H\nrequest H to B"
    assert reasons(JUNCTION, script)[0] == "the train of H to B is under way"


def test_points_that_another_route_keeps_are_named_with_the_route_and_where_they_lie() -> None:
    assert reasons(BESIDE, "request V to C\nwait\nrequest W to T") == (
        "P lies diverging and is kept so for V to C, which is set",
    )


def test_points_on_their_way_are_told_as_such() -> None:
    assert reasons(BESIDE, "request V to C\nrequest W to T") == (
        "P is on its way to diverging and is kept so for V to C, which is set",
    )


def test_an_overlap_that_is_kept_is_told() -> None:
    script = """
    train comes in from WEST
    request H0 to H
    wait
    train passes H0
    train stands before D
    request D to WEST
    """
    assert "the train of H0 to H is under way" in reasons(OVERLAP, script)


def test_a_route_that_is_not_set_cannot_be_cancelled() -> None:
    assert reasons(JUNCTION, "cancel H to B") == ("H to B is not set",)


def test_a_train_before_a_signal_at_stop_does_not_pass_it() -> None:
    assert reasons(JUNCTION, "train stands before H\ntrain passes H") == ("H is at stop",)


def test_a_signal_without_a_train_is_passed_by_none() -> None:
    assert "no train is in A" in reasons(JUNCTION, "train passes H")


def test_two_facts_of_which_one_would_do_are_told_as_one() -> None:
    """A rule of the layout: S1 to WEST is locked with H to C while P1 lies straight."""
    layout = JUNCTION + (
        "locking written {\n  every route needs its positions\n"
        "  H to C locks S2 to WEST when P1 diverging\n}\n"
    )
    assert reasons(layout, "request H to C\nrequest S2 to WEST") == ("H to C is set",)


@pytest.mark.parametrize("layout", [JUNCTION, OVERLAP, SLIP, FORGETFUL, BESIDE])
def test_there_is_a_reason_exactly_where_an_event_is_not_possible(layout: str) -> None:
    of = railway(layout)
    rng = random.Random(7)
    state: dict[str, str] = of.machine.start()
    for _ in range(60):
        for event in of.machine.events:
            why = why_not(event, state, of.machine.variables)
            assert bool(why) == (not possible(event, state)), event.name
            assert len(set(why)) == len(why)
        able = of.simulator.possible(state)
        if not able:
            break  # trains block each other
        state = dict(of.simulator.do(rng.choice(able), state).state)


@pytest.mark.parametrize("layout", [JUNCTION, OVERLAP])
def test_every_value_has_words_of_its_own(layout: str) -> None:
    variables = railway(layout).machine.variables
    for variable in variables.values():
        if variable.kind in ("track", "route"):
            continue  # where a train is on its way is told in one way
        said = [fact(variable, value) for value in variable.values]
        assert len(set(said)) == len(said)
        assert all(variable.of in sentence for sentence in said)


def test_where_a_train_goes_is_told_when_it_goes_the_wrong_way() -> None:
    assert last(JUNCTION, "train stands before H\nthe train in A runs out by WEST").refused == (
        "the train in A goes from A.left towards A.right",
    )


def test_of_two_ways_between_the_same_legs_the_second_is_told_by_its_number():
    """A train that is to turn back must be on the way that it came by."""
    of = railway(
        "points P, Q\nsection MIDDLE = P, L, M, Q\n"
        "run edge WEST - A - >H - P.toe\nrun P.straight - L - Q.straight\n"
        "run P.diverging - M - Q.diverging\nrun Q.toe - <S - B - stop\n"
    )
    track = of.machine.variable_of["track", "MIDDLE"]
    second = [v for v, train in track.trains.items() if train.passage.number == 2 and train.front]
    assert second
    told = {fact(track, value, frozenset(track.values[1:])) for value in second}
    assert "the train in MIDDLE goes from P.toe towards Q.toe by way 2" in told


def test_what_the_controller_knows_is_told_in_the_same_words() -> None:
    control = compiled(OVERLAP).control
    for variable in control.view.variables().values():
        if variable.kind == "progress":
            continue  # how far its train is under way is told in one way
        said = [fact(variable, value) for value in variable.values]
        assert len(set(said)) == len(said)
        assert all(variable.of in sentence for sentence in said)
    progress = control.view.progress["H0 to H"]
    assert fact(progress, "train in section 1") == "the train of H0 to H is under way"
    lying = compiled(BESIDE).control.view.lying["P"]
    assert fact(lying, "not known") == "it is not known where P lies"


def test_the_controller_names_the_route_that_keeps_points() -> None:
    """As the machine does, from what it knows of route and drive."""
    control = compiled(BESIDE).control
    variables = control.view.variables()
    asked = {r.name: r for r in (pair.reaction for pair in control.paired)}
    state = {name: v.initial[0] for name, v in variables.items()}
    state |= {"lying P": "diverging", "progress V to C": "set"}
    told = why_not(request(asked["request W to T"]), state, variables)
    assert told == ("P lies diverging and is kept so for V to C, which is set",)


def request(reaction: Reaction) -> Event:
    """A reaction to a request as an event of its own."""
    return Event(
        reaction.name,
        "request",
        "operator",
        reaction.route or "",
        reaction.text,
        reaction.guard,
        reaction.updates,
        reaction.route,
    )
