"""How trains come to harm, told step by step: each accident on its smallest layout."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace

import pytest
from machine_faults import replayed

import bellcrank
from bellcrank.machine.machine_model import Event, Machine
from bellcrank.proof.moving.moving_proof import Effort, prove_moving
from bellcrank.proof.moving.story import Story
from bellcrank.running.state_search import Explorer


def machine_of(text: str) -> Machine:
    """The machine of a layout without errors, leaving aside what it should let happen."""
    compilation = bellcrank.compile(text)
    return replace(compilation.machine, wishes=())


def outcomes(machine: Machine) -> dict[str, str]:
    return {result.name: result.outcome for result in prove_moving(machine).results}


def story_of(machine: Machine, name: str) -> Story:
    """The story of a property that is refuted, after playing it once more."""
    (story,) = (r.story for r in prove_moving(machine).results if r.name == name)
    assert story is not None
    assert story.shortest
    assert replayed(machine, story) == ""
    return story


def told(story: Story) -> list[str]:
    return [step.sentence for step in story.steps] + [story.ending]


def changed(machine: Machine, change: Callable[[Event], Event | None]) -> Machine:
    """A machine with its events changed, or left out."""
    events = tuple(e for e in map(change, machine.events) if e is not None)
    assert events != machine.events
    return replace(machine, events=events)


# --------------------------------------------------------------- rules that are missing

SLIP = """
double slip X with one drive
run edge A - >HA - X.a1
run edge B - >HB - X.b1
run X.a2 - T - stop
run X.b2 - U - stop
locking written {
  every route needs its positions
  every route needs its sections clear
  every drive needs its section clear
  only one of HA to T, HA to U, HB to T
  only one of HA to U, HB to T, HB to U
  %s
}
"""


def test_two_trains_meet_in_a_slip_whose_straight_roads_both_lie_right() -> None:
    machine = machine_of(SLIP % "")
    assert told(story_of(machine, "meetings")) == [
        "the operator asks for HA to T",
        "HA clears for HA to T",
        "the operator asks for HB to U",
        "HB clears for HB to U",
        "a train passes HA and enters X with X straight",
        "a train passes HB and runs into X, where another train stands",
        "two trains meet in X",
    ]
    # Nothing is wrong with the drive: it lies right for both.
    assert outcomes(machine)["derailments"] == outcomes(machine)["drives"] == "proved"


def test_the_rule_that_the_straight_roads_cross_is_all_that_is_missing() -> None:
    assert set(outcomes(machine_of(SLIP % "HA to T locks HB to U")).values()) <= {"proved", "shown"}


BERTH_OVER_POINTS = """
points P
run edge W - >H - P.toe
run P.straight - N - >S - B - edge E
run P.diverging - SIDING - stop
run edge X - >K - R - edge Y
section NECK = P, N
flank K to Y = P diverging
locking written {
  every route needs its positions
  every route needs its sections clear
  H to S locks H to SIDING
  %s
}
"""


def test_a_drive_is_thrown_under_a_train_that_waits_over_its_points() -> None:
    machine = machine_of(BERTH_OVER_POINTS % "")
    assert told(story_of(machine, "drives")) == [
        "the operator asks for H to S",
        "H clears for H to S",
        "a train passes H and enters NECK with P straight",
        "the tail of the train comes in from W",
        "H to S is released: its train has arrived whole",
        "the operator asks for K to Y",
        "P is thrown under a train in NECK",
    ]


def test_no_drive_is_thrown_under_a_train_if_each_needs_its_section_clear() -> None:
    machine = machine_of(BERTH_OVER_POINTS % "every drive needs its section clear")
    assert outcomes(machine)["drives"] == "proved"


TRAILING = """
points P
run edge W - >H - P.straight
run P.toe - T - stop
run stop - SIDING - P.diverging
locking written {
  every route needs its sections clear
  %s
}
"""


def test_a_train_runs_through_trailing_points_that_lie_against_it() -> None:
    story = story_of(machine_of(TRAILING % ""), "derailments")
    assert story.start == (("P", "diverging"),)
    assert told(story) == [
        "the operator asks for H to T",
        "H clears for H to T",
        "a train passes H and runs into P, where it finds P not set for it",
        "a train comes off the rails in P",
    ]


def test_no_points_are_run_through_by_a_route_that_needs_them() -> None:
    machine = machine_of(TRAILING % "H to T needs P straight")
    assert outcomes(machine)["derailments"] == "proved"


SINGLE_LINE = """
run edge W - >D - L - <U - edge E
locking written {
  every route needs its sections clear
  %s
}
"""


def test_two_trains_meet_head_on_on_a_single_line() -> None:
    assert told(story_of(machine_of(SINGLE_LINE % ""), "meetings")) == [
        "the operator asks for D to E",
        "D clears for D to E",
        "the operator asks for U to W",
        "U clears for U to W",
        "a train passes D and enters L",
        "a train passes U and runs into L, where another train stands",
        "two trains meet in L",
    ]


def test_no_trains_meet_where_the_two_ends_of_a_single_line_lock_each_other() -> None:
    assert outcomes(machine_of(SINGLE_LINE % "D to E locks U to W"))["meetings"] == "proved"


OVERLAP = """
fixed diamond X
run edge W - >D1 - L - >D2 - X.a1
run X.a2 - edge E
run edge S - >K - X.b1
run X.b2 - edge N
overlap D2 = X
locking written {
  every route needs its sections clear
  D2 to E locks K to N
  %s
}
"""


def test_a_route_is_set_into_the_overlap_of_a_train_on_its_way() -> None:
    machine = machine_of(OVERLAP % "")
    assert told(story_of(machine, "overlaps")) == [
        "the operator asks for D1 to D2",
        "D1 clears for D1 to D2",
        "a train passes D1 and enters L",
        "the operator asks for K to N",
        "the train of D1 to D2 may overrun D2, and X is held for another route",
    ]
    # As long as no train runs too far, none meets another.
    assert outcomes(machine)["meetings"] == "proved"


def test_an_overlap_that_is_locked_is_not_entered() -> None:
    machine = machine_of(OVERLAP % "D1 to D2 locks K to N")
    assert outcomes(machine)["overlaps"] == "proved"


# -------------------------------------------------------------------------- calling on

TERMINUS = """
points P
run edge W - A - >H - P.toe
run P.straight - <S1 - T1 - stop
run P.diverging - <S2 - T2 - stop
signal H shows stop, call, clear
routes derive
route CALL = H to T1 calling on shows call
"""


def test_a_train_is_called_on_to_one_that_stands_in_the_berth_and_all_is_proved() -> None:
    machine = machine_of(TERMINUS)
    (joins,) = (event for event in machine.events if event.kind == "joins")
    explorer = Explorer(machine)
    found = explorer.search({"before it joins": explorer.test(joins.guard)})
    # What does not depend on each other may come in any order.
    assert {event.text for event in found.runs["before it joins"]} == {
        "the operator asks for CALL",
        "H shows call for CALL",
        "a train comes in from W to A",
        "a train stands in T1, before S1",
        "a train passes H and enters P with P straight",
    }
    assert joins.text == "the train in P draws up to the train in T1"
    assert set(outcomes(machine).values()) <= {"proved", "shown"}


THROUGH_BERTH = """
run edge W - A - >H - <U - BERTH - >S - <K - C - edge E
signal H shows stop, call, clear
routes derive
route CALL = H to S calling on shows call
locking written {
  every route needs its sections clear
  H to S locks CALL, K to U
  S to E locks K to U
  U to W locks H to S, CALL
  %s
}
"""


def test_a_train_is_called_on_into_a_berth_that_one_comes_into_from_the_other_side() -> None:
    def never_put_down(event: Event) -> Event | None:
        return None if event.kind == "put down" else event

    machine = changed(machine_of(THROUGH_BERTH % ""), never_put_down)
    assert told(story_of(machine, "meetings")) == [
        "the operator asks for K to U",
        "K clears for K to U",
        "the operator asks for CALL",
        "H shows call for CALL",
        "a train comes in from W to A",
        "a train comes in from E to C",
        "a train passes H and enters BERTH",
        "a train passes K and runs into BERTH, where another train stands",
        "two trains meet in BERTH",
    ]


def test_a_berth_that_is_called_on_into_is_locked_from_the_other_side() -> None:
    machine = machine_of(THROUGH_BERTH % "CALL locks K to U")
    assert set(outcomes(machine).values()) <= {"proved", "shown"}


BERTH_WITH_SIGNAL = """
run edge W - A - >H - T1 - %s - T2 - stop
section T = T1, T2
signal H shows stop, call, clear
routes derive
route CALL = H to %s calling on shows call
%s
"""


@pytest.mark.parametrize(("signal", "end"), [("<M", "T2"), (">M", "M")])
def test_a_train_is_called_on_into_a_berth_with_a_signal_in_its_middle(
    signal: str, end: str
) -> None:
    machine = machine_of(BERTH_WITH_SIGNAL % (signal, end, ""))
    verdict = prove_moving(machine, Effort(search=0))
    assert {r.outcome for r in verdict.results} == {"proved", "shown"}
    assert {r.outcome for r in verdict.results if r.name == "rest"} == {"proved"}


def test_no_other_train_is_let_into_a_berth_beyond_a_signal_of_which_one_stands() -> None:
    notebook = """locking written {
      every route needs its positions
      only one of CALL, H to T2
      H to T2 needs A clear
    }"""
    machine = machine_of(BERTH_WITH_SIGNAL % ("<M", "T2", notebook))
    assert told(story_of(machine, "meetings"))[-2:] == [
        "a train passes H and runs into the section T (T1), where another train stands",
        "two trains meet in T",
    ]


# ------------------------------------------------------------- an interlocking at fault

BRANCH = """
points P
run edge W - >H - P.toe
run P.straight - T - stop
run P.diverging - U - stop
"""


@pytest.mark.parametrize("release", ["section by section", "whole routes"])
def test_either_way_of_releasing_routes_is_proved(release: str) -> None:
    machine = machine_of(BRANCH + f"release {release}\n")
    assert set(outcomes(machine).values()) <= {"proved", "shown"}


def test_a_section_is_released_behind_a_train_that_is_still_in_it() -> None:
    def too_early(event: Event) -> Event:
        if event.name != "section released P by H to T":
            return event
        return replace(event, guard=tuple(c for c in event.guard if c[0].variable != "track P"))

    machine = changed(machine_of(BRANCH), too_early)
    assert told(story_of(machine, "release")) == [
        "the operator asks for H to T",
        "H clears for H to T",
        "a train passes H and enters P with P straight",
        "the train in P enters T",
        "P is released behind the train of H to T",
        "a train under way is in P, which no route holds for it",
    ]
    # The next route over it still waits until the section is clear.
    assert outcomes(machine)["meetings"] == outcomes(machine)["drives"] == "proved"


def test_points_are_thrown_under_a_long_train_if_nobody_looks_whether_track_is_clear() -> None:
    def blind(event: Event) -> Event:
        if event.actor not in ("operator", "interlocking"):
            return event
        kept = (c for c in event.guard if not any(x.variable.startswith("track ") for x in c))
        return replace(event, guard=tuple(kept))

    assert told(story_of(changed(machine_of(BRANCH), blind), "drives")) == [
        "the operator asks for H to T",
        "H clears for H to T",
        "a train passes H and enters P with P straight",
        "the train in P enters T",
        "P is released behind the train of H to T",
        "the operator asks for H to U",
        "P is thrown under a train in P",
    ]


def test_without_approach_locking_a_train_that_cannot_stop_finds_its_points_moving() -> None:
    def at_once(event: Event) -> Event:
        if event.name != "put back H to T":
            return event
        free = {f"held {s}": {"H to T": "not held"} for s in "PT"}
        return replace(event, updates={**event.updates, "route H to T": {"set": "idle"}, **free})

    assert told(story_of(changed(machine_of(BRANCH), at_once), "derailments")) == [
        "the operator asks for H to T",
        "H clears for H to T",
        "the operator cancels H to T; H goes to stop",
        "the operator asks for H to U",
        "a train passes H, which has just been put back to stop, and runs into P, where it "
        "finds P not set for it",
        "a train comes off the rails in P",
    ]


# ------------------------------------------------------------------- what stories name


def test_a_story_names_the_line_of_what_acts_and_ends_at_once() -> None:
    story = story_of(machine_of(SINGLE_LINE % ""), "meetings")
    assert [step.span.line for step in story.steps if step.span] == [2] * 6
    assert [step.event for step in story.steps][-1] == "meets U for U to W"


# ---------------------------------------------------------------- waiting for ever


CALLED_ON_ALL_ROUND = """layout "Round"
points F
run F.diverging - T0 - <S0 - >S1 - T1 - F.toe
run edge E0 - T2 - >S2 - T3 - F.straight
section NECK = F, T3
route S1 to S1 calling on
"""


def test_a_train_that_draws_up_to_its_own_tail_is_assumed_away_and_said_to_be() -> None:
    machine = machine_of(CALLED_ON_ALL_ROUND)
    assert machine.assumptions["no full circuit"] == (
        "trains that have drawn up to each other never fill a circuit all round (T1, T0, NECK)"
    )
    assert outcomes(machine)["rest"] == "proved"
    # Assumed by nobody, it can happen, and nothing is claimed.
    said = {k: v for k, v in machine.assumptions.items() if k != "no full circuit"}
    found = outcomes(replace(machine, assumptions=said))
    assert found["rest"] == "undecided"


def test_on_a_circuit_without_calling_on_no_ring_of_tails_closes_and_nothing_is_assumed() -> None:
    machine = machine_of("""layout "Oval"
points P1, P2
run P2.toe - <B - C - >A - P1.toe
run P1.straight - <W1 - R1 - >E1 - P2.straight
run P1.diverging - <W2 - R2 - >E2 - P2.diverging
""")
    verdict = prove_moving(machine, Effort(search=0))
    assert verdict.outcome == "proved" and verdict.states == 0
    assert "no full circuit" not in machine.assumptions
    asked = [q for q in verdict.questions if q.example.wrong.startswith("a ring of tails")]
    assert asked and all(q.answer == "unsat" for q in asked)


TWO_RINGS = """
from bellcrank.machine.machine_model import Event, Is, Variable
from bellcrank.machine.circuits import rings_of_tails

def leaves(of, value, behind):
    guard = (Is(behind, frozenset(["clear"])),)
    return Event(of + value, "tail leaves", "train", of, "", (guard,), {of: {value: "clear"}})

values = ("clear", "to A", "to C")
variables = {n: Variable(n, "track", n, values, ("clear",)) for n in "ABC"}
events = (
    leaves("A", "to A", "B"), leaves("B", "to A", "A"),
    leaves("C", "to C", "B"), leaves("B", "to C", "C"),
)
print({k: sorted(v) for k, v in rings_of_tails(variables, events).items()})
"""


def test_the_rings_of_tails_are_told_alike_however_python_orders_its_sets() -> None:
    told_by = {
        subprocess.check_output(
            [sys.executable, "-c", TWO_RINGS], env={**os.environ, "PYTHONHASHSEED": seed}, text=True
        )
        for seed in "0123"
    }
    assert len(told_by) == 1
    assert told_by != {"{}\n"}
