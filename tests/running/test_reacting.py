"""The controller made to run: which reaction takes effect, and what is done of itself."""

from __future__ import annotations

import pytest

from bellcrank.controller.controller_model import Controller, Input, Reaction
from bellcrank.machine.machine_model import Is, Variable
from bellcrank.running.reacting import Reacting

A = Variable(
    "report A", "report", "A", ("reported clear", "reported occupied"), ("reported clear",)
)
N = Variable("progress R", "progress", "R", ("0", "1", "2", "3", "4"), ("0",))

SAID = {"report A": {"reported clear": "reported occupied"}}

OCCUPIED, CLEAR = Input("occupied", "A"), Input("clear", "A")


def from_to(before: str, to: str, name: str = "") -> Reaction:
    """What takes R from one value to another."""
    guard = ((Is("progress R", frozenset((before,))),),)
    return Reaction(name or f"{before} to {to}", "", guard, {"progress R": {before: to}})


def reacting(*steps: Reaction, **inputs: tuple[Reaction, ...]) -> Reacting:
    occupied = Reaction("occupied", "", (), {**SAID, "progress R": {"0": "1"}})
    given = {OCCUPIED: (occupied,), CLEAR: ()}
    given |= {Input("request", name): found for name, found in inputs.items()}  # type: ignore[misc]
    return Reacting(Controller({A.name: A, N.name: N}, given, steps, ()))


def done(run: Reacting, given: Input) -> list[str]:
    return [reaction.name for reaction in run.input(given, run.start()).done]


def test_the_first_reaction_that_is_possible_takes_effect() -> None:
    run = reacting(R=(from_to("1", "2"), from_to("0", "3", "first"), from_to("0", "4", "second")))
    assert done(run, Input("request", "R")) == ["first"]


def test_steps_are_gone_through_in_their_order_again_and_again() -> None:
    run = reacting(from_to("4", "0"), from_to("3", "4"), from_to("2", "3"), from_to("1", "2"))
    assert done(run, OCCUPIED) == ["occupied", "1 to 2", "2 to 3", "3 to 4", "4 to 0"]


def test_of_two_steps_that_become_possible_the_next_in_order_is_done_and_not_the_first() -> None:
    both = reacting(from_to("2", "4", "early"), from_to("1", "2"), from_to("2", "3", "late"))
    assert done(both, OCCUPIED) == ["occupied", "1 to 2", "late"]


def test_what_is_changed_is_told_against_the_state_before_the_input() -> None:
    run = reacting(from_to("1", "0"))
    answer = run.input(OCCUPIED, run.start())
    assert answer.changes == {"report A": "reported occupied"}
    assert answer.state == {"report A": "reported occupied", "progress R": "0"}


def test_a_report_that_nothing_explains_is_the_alarm_and_a_request_is_refused() -> None:
    run = reacting(R=(from_to("1", "2"),))
    state = run.start(occupied=["A"])
    assert run.input(CLEAR, state).outcome == "alarm"
    assert run.input(Input("request", "R"), state).outcome == "refused"
    assert run.input(CLEAR, state).state == state


@pytest.mark.parametrize(("occupied", "given"), [(["A"], OCCUPIED), ([], CLEAR)])
def test_a_report_that_says_what_was_reported_last_is_nothing_new(
    occupied: list[str], given: Input
) -> None:
    run = reacting()
    state = run.start(occupied=occupied)
    answer = run.input(given, state)
    assert (answer.outcome, answer.state, answer.done) == ("nothing new", state, ())


def test_the_end_of_a_time_that_does_not_run_any_more_is_nothing_new() -> None:
    run = reacting()
    assert run.input(Input("time over", "progress R", "3"), run.start()).outcome == "nothing new"
