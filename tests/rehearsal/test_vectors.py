"""Test vectors: that they are what the simulator does, and try what they count.

That another reader of the machine agrees with them is tried in tests/outside.
"""

from __future__ import annotations

from functools import cache

import pytest
from random_layouts import compiled, shown
from sound_layouts import machine_of

import bellcrank
from bellcrank.machine.machine_model import (
    Event,
    Is,
    Machine,
    State,
    Variable,
    after,
    holds,
    possible,
)
from bellcrank.rehearsal.vectors import Covered, Step, Vectors, make_vectors
from bellcrank.running.simulator import Simulator
from bellcrank.running.state_search import Explorer
from bellcrank.running.stepping import Stepper

TWO_TRACKS = """
layout "Reedham Halt" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
"""

ONE_TRACK = """
layout "Fen End" on two rails
run edge WEST - A - >V - B - <X - C - stop
"""


@cache
def random_machines() -> list[tuple[int, Machine]]:
    found = [(seed, compiled(seed)[1]) for seed in range(8)]
    machines = [(seed, c.machine) for seed, c in found if isinstance(c, bellcrank.Sound)]
    assert len(machines) >= 5
    return machines


@cache
def random_ones() -> list[tuple[int, Machine, Vectors]]:
    """These machines with their vectors."""
    return [(seed, machine, make_vectors(machine)) for seed, machine in random_machines()]


def tried(machine: Machine, vectors: Vectors) -> list[tuple[State, Step]]:
    """Every step with the state before it, as the simulator goes on from step to step."""
    found: list[tuple[State, Step]] = []
    simulator = Simulator(machine)
    events = {event.name: event for event in machine.events}
    for run in vectors.runs:
        state: State = {**machine.start(), **run.start}
        for step in run.steps:
            found.append((state, step))
            if step.possible:
                state = simulator.do(events[step.event], state).state
    for case in vectors.cases:
        found += [({**machine.start(), **case.given}, step) for step in case.steps]
    return found


@pytest.mark.parametrize("text", [TWO_TRACKS, ONE_TRACK], ids=["two tracks", "one track"])
def test_every_step_is_what_the_simulator_does(text: str) -> None:
    machine = machine_of(text)
    assert_what_the_simulator_does(machine, make_vectors(machine))


def test_every_step_is_what_the_simulator_does_on_random_layouts() -> None:
    for seed, machine, vectors in random_ones():
        with shown(compiled(seed)[0]):
            assert_what_the_simulator_does(machine, vectors)


def assert_what_the_simulator_does(machine: Machine, vectors: Vectors) -> None:
    events = {event.name: event for event in machine.events}
    for state, step in tried(machine, vectors):
        event = events[step.event]
        assert possible(event, state) is step.possible
        following = after(event, state) if step.possible else state
        assert {v: x for v, x in following.items() if state[v] != x} == step.changes


def test_runs_start_where_the_machine_may_and_some_with_drives_over() -> None:
    machine = machine_of(TWO_TRACKS)
    starts = [dict(run.start) for run in make_vectors(machine).runs]
    assert {"drive P": "diverging"} in starts and {} in starts
    for start in starts:
        for variable, value in start.items():
            assert value in machine.variables[variable].initial[1:]


def test_what_is_given_is_a_value_of_its_variable_and_not_the_usual_one() -> None:
    for _, machine, vectors in random_ones():
        usual = machine.start()
        for case in vectors.cases:
            assert case.steps
            for variable, value in case.given.items():
                assert value in machine.variables[variable].values
                assert value != usual[variable]


def test_the_same_machine_always_has_the_same_vectors() -> None:
    first, again = (bellcrank.compile(TWO_TRACKS).machine for _ in range(2))
    assert first is not None and again is not None
    assert make_vectors(first) == make_vectors(again)


@pytest.mark.parametrize("text", [TWO_TRACKS, ONE_TRACK], ids=["two tracks", "one track"])
def test_every_event_that_can_happen_at_all_happens_in_a_run(text: str) -> None:
    """Which can is found by looking at every state that the machine can come to."""
    machine = machine_of(text)
    explorer = Explorer(machine)
    found = explorer.search({}, most=400_000)
    assert found.complete
    can = {number for state in found.seen for number, _ in explorer.successors(state)}
    vectors = make_vectors(machine)
    happen = {step.event for run in vectors.runs for step in run.steps if step.possible}
    assert happen == {machine.events[number].name for number in can}
    assert len(happen) == vectors.events.in_runs < len(machine.events)


def test_what_is_covered_is_what_is_tried() -> None:
    """Counted again from the vectors, without the bookkeeping that made them."""
    for seed, machine, vectors in random_ones():
        events = {event.name: event for event in machine.events}
        happened, alone, changed = set(), set(), set()
        for state, step in tried(machine, vectors):
            event = events[step.event]
            false = {clause for clause in event.guard if not holds(clause, state)}
            if step.possible:
                happened.add(event.name)
                changed |= {(event.name, variable, state[variable]) for variable in step.changes}
            elif len(false) == 1:
                alone.add((event.name, false.pop()))
        with shown(compiled(seed)[0]):
            assert count(vectors.events) == (len(happened), len(events))
            clauses = sum(len(set(event.guard)) for event in machine.events)
            assert count(vectors.conditions) == (len(alone), clauses)
            values = sum(len(b) for e in machine.events for b in e.updates.values())
            assert count(vectors.changes) == (len(changed), values)
            assert vectors.events.left_out == vectors.conditions.left_out == 0
            assert vectors.changes.left_out == 0


def count(covered: Covered) -> tuple[int, int]:
    """How many are tried, and of how many."""
    shown_ = covered.in_runs + covered.in_cases
    return shown_, shown_ + covered.left_out + covered.impossible


@pytest.mark.parametrize(("in_runs", "in_cases"), [(50, 40), (50, 0), (0, 40), (0, 0)])
def test_vectors_keep_within_their_bounds_and_say_what_is_left_out(
    in_runs: int, in_cases: int
) -> None:
    machine = machine_of(TWO_TRACKS)
    vectors = make_vectors(machine, in_runs, in_cases)
    assert sum(len(run.steps) for run in vectors.runs) <= in_runs
    tries = [len(case.steps) for case in vectors.cases]
    assert sum(tries[:-1]) < max(in_cases, 1)  # the last may go over it
    assert bool(tries) is bool(in_cases)
    assert vectors.conditions.left_out > 0
    assert vectors.changes.left_out > 0
    assert count(vectors.events)[1] == len(machine.events)


# ------------------------------------------------------------ machines made by hand

A = Variable("track A", "track", "A", ("0", "1", "2"), ("0",))
B = Variable("track B", "track", "B", ("0", "1", "2"), ("0", "2"))


def is_(variable: Variable, *values: str) -> Is:
    return Is(variable.name, frozenset(values))


def event(name: str, *guard: tuple[Is, ...], **becomes: dict[str, str]) -> Event:
    updates = {f"track {name}": change for name, change in becomes.items()}
    return Event(name, "enters", "train", "A", name, guard, updates)


def hand_made(*events: Event) -> Machine:
    return Machine({A.name: A, B.name: B}, events, (), (), (), {})


def test_an_event_without_conditions_is_always_possible() -> None:
    vectors = make_vectors(hand_made(event("go", A={"0": "1", "1": "2", "2": "0"})))
    assert vectors.events == Covered(1, 0, 0, 0)
    assert vectors.conditions == Covered(0, 0, 0, 0)
    assert count(vectors.changes) == (3, 3)


def test_an_event_that_no_state_allows_is_said_to_be_impossible() -> None:
    never = event("never", (is_(A, "1"),), (is_(A, "2"),), A={"1": "2"})
    nothing = event("nothing", (), A={"1": "2"})
    vectors = make_vectors(hand_made(never, nothing))
    assert vectors.events == Covered(0, 0, 0, 2)
    # Each of the two conditions is false alone, and so is the empty one.
    assert count(vectors.conditions) == (3, 3)
    assert vectors.changes.impossible == 2


def test_a_condition_that_follows_from_another_is_said_to_be_impossible_to_try() -> None:
    wide = event("wide", (is_(A, "1"),), (is_(A, "1", "2"),), A={"1": "2"})
    vectors = make_vectors(hand_made(wide))
    assert count(vectors.conditions) == (1, 2)
    assert vectors.conditions.impossible == 1


def test_a_state_is_set_up_for_conditions_that_leave_a_choice() -> None:
    """Which literal of the first is true depends on what the second leaves."""
    choice = event(
        "choice", (is_(A, "1"), is_(B, "1")), (is_(A, "2"), is_(B, "1", "0")), A={"2": "0"}
    )
    vectors = make_vectors(hand_made(choice))
    assert count(vectors.events) == (1, 1)
    assert count(vectors.changes) == (1, 1)
    (does,) = (c for c in vectors.cases if c.steps[0].changes)
    assert does.given == {"track A": "2", "track B": "1"}


def test_a_stepper_keeps_count_of_what_every_event_lacks() -> None:
    for _, machine in random_machines()[:5]:
        stepper = Stepper(machine)
        for turn in range(60):
            for number, each in enumerate(machine.events):
                false = [c for c in set(each.guard) if not holds(c, stepper.state)]
                assert stepper.false[number] == len(false)
                assert {stepper.clauses[c] for c in stepper.lacking(number)} == set(false)
                assert (number in stepper.possible) is (not false)
            choices = sorted(stepper.possible)
            if choices:
                stepper.do(choices[turn % len(choices)])
            else:
                stepper.set_to(machine.start())
