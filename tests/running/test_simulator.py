"""The machine one event at a time: what is possible, what happens, what has gone wrong."""

from __future__ import annotations

import random

import pytest
from rehearsed import FORGETFUL, JUNCTION, railway

from bellcrank.machine.machine_model import (
    Clause,
    Event,
    Invariant,
    Is,
    Machine,
    Variable,
    possible,
)
from bellcrank.running.simulator import Simulator, replay, start_of
from bellcrank.running.state_search import Explorer


def machine(text: str) -> Machine:
    return railway(text).machine


def event(of: Machine, name: str) -> Event:
    return next(event for event in of.events if event.name == name)


def walk(of: Machine, seed: int, length: int) -> tuple[list[Event], list[dict[str, str]]]:
    """A random run, at most so long, and the states it leads through, found by guards and
    updates alone."""
    rng = random.Random(seed)
    states = [of.start()]
    run: list[Event] = []
    for _ in range(length):
        able = [event for event in of.events if possible(event, states[-1])]
        if not able:
            break  # trains block each other
        chosen = rng.choice(able)
        run.append(chosen)
        state = dict(states[-1])
        for name, becomes in chosen.updates.items():
            state[name] = becomes.get(state[name], state[name])
        states.append(state)
    return run, states


@pytest.mark.parametrize("text", [JUNCTION, FORGETFUL])
@pytest.mark.parametrize("seed", range(3))
def test_what_is_possible_is_every_event_whose_guard_is_true(text: str, seed: int) -> None:
    of = machine(text)
    simulator = Simulator(of)
    for state in walk(of, seed, 80)[1]:
        assert simulator.possible(state) == [e for e in of.events if possible(e, state)]


def test_events_change_a_new_state_and_leave_the_old_one_alone() -> None:
    of = machine(JUNCTION)
    before = of.start()
    kept = dict(before)
    step = Simulator(of).do(event(of, "request H to C"), before)
    assert before == kept
    assert step.state["route H to C"] == "set"
    assert step.state["drive P1"] == "to diverging"
    assert step.state["held C"] == "H to C"
    assert {n for n in kept if step.state[n] != kept[n]} == {
        "route H to C", "drive P1", "held P1", "held C"
    }  # fmt: skip


def test_an_event_that_is_not_possible_does_not_happen() -> None:
    of = machine(JUNCTION)
    with pytest.raises(ValueError, match=r"H clears for H to B .*H to B is not set"):
        Simulator(of).do(event(of, "signal clears H to B"), of.start())


def test_a_step_tells_what_has_become_unsafe_and_tells_it_once() -> None:
    """Without locking, a route is set over the train of another."""
    of = machine(FORGETFUL)
    simulator = Simulator(of)
    state = of.start()
    broken: list[list[str]] = []
    for name in ("put down H", "put down S1", "request H to B", "request S1 to WEST"):
        step = simulator.do(event(of, name), state)
        state = step.state
        broken.append([invariant.of for invariant in step.broken])
    assert broken[:3] == [[], [], []]
    for name in ("signal clears H to B", "signal clears S1 to WEST"):
        step = simulator.do(event(of, name), state)
        state = step.state
        assert {i.of for i in step.broken} >= {"signals"}
    assert any("S1 is off for S1 to WEST though" in i.sentence for i in simulator.broken(state))
    quiet = simulator.do(event(of, "put down S2"), state)
    assert quiet.broken == ()
    assert simulator.broken(quiet.state) == simulator.broken(state)


def test_trains_that_meet_are_an_accident_in_the_step_in_which_they_meet() -> None:
    of = machine(FORGETFUL)
    names = (
        "put down H", "put down S1", "request H to B", "request S1 to WEST",
        "signal clears H to B", "passes signal H for H to B: P1.toe to P1.straight",
    )  # fmt: skip
    run = [event(of, name) for name in names]
    state = replay(of, run)[-1]
    step = Simulator(of).do(event(of, "meets P1 to B.left"), state)
    assert "two trains meet in B" in [invariant.sentence for invariant in step.broken]


@pytest.mark.parametrize("seed", range(5))
def test_replay_leads_through_the_states_of_the_run(seed: int) -> None:
    of = machine(JUNCTION)
    run, states = walk(of, seed, 60)
    assert list(replay(of, run, states[0])) == states


def test_replay_of_no_events_is_the_start() -> None:
    of = machine(JUNCTION)
    assert replay(of, []) == (of.start(),)


def test_replay_refuses_a_run_that_is_not_possible_and_says_where() -> None:
    of = machine(JUNCTION)
    run = [event(of, "request H to B"), event(of, "drive arrives P1 diverging")]
    with pytest.raises(ValueError, match="event 2 of the run"):
        replay(of, run, of.start())


# ------------------------------------------------------------ where runs begin


def test_a_run_from_points_that_lie_otherwise_is_replayed_from_there() -> None:
    of = machine(JUNCTION)
    run = [event(of, "request H to C"), event(of, "signal clears H to C")]
    assert not possible(run[1], Simulator(of).do(run[0], of.start()).state)
    states = replay(of, run)
    assert states[0]["drive P1"] == "diverging"


def test_runs_that_the_search_finds_lead_where_it_says() -> None:
    of = machine(JUNCTION)
    explorer = Explorer(of)
    wanted = {
        event.name: explorer.test(event.guard)
        for event in of.events
        if event.kind not in ("meets", "derails", "joins")
    }
    found = explorer.search(dict(wanted), most=20_000)
    assert len(found.runs) > 20
    for name, run in found.runs.items():
        start = explorer.unpack(found.starts[name])
        assert possible(event(of, name), replay(of, run, start)[-1])
        assert len(replay(of, run)) == len(run) + 1


def test_a_run_that_is_possible_from_no_start_has_none() -> None:
    of = machine(JUNCTION)
    assert start_of(of, [event(of, "signal clears H to B")]) is None


def clause(*literals: tuple[str, str]) -> Clause:
    return tuple(Is(name, frozenset((value,))) for name, value in literals)


def test_the_start_of_a_run_is_found_where_one_choice_leads_astray() -> None:
    """Either a or b lies over; the second event tells that it was not a."""
    a, b = (Variable(n, "drive", n, ("1", "2"), ("1", "2")) for n in "ab")

    def happens(name: str, *guard: Clause) -> Event:
        return Event(name, "drive arrives", "surroundings", "a", name, guard, {})

    first = happens("first", clause(("a", "2"), ("b", "2")))
    second = happens("second", clause(("a", "1"), ("a", "1")))
    of = railway(JUNCTION).machine
    small = Machine({"a": a, "b": b}, (first, second), (), of.wishes, (), {})
    assert start_of(small, [first, second]) == {"a": "1", "b": "2"}
    assert start_of(small, [first]) == {"a": "2", "b": "1"}


def test_events_without_a_narrow_condition_are_possible_all_the_same() -> None:
    a = Variable("a", "drive", "a", ("1", "2"), ("1",))
    free = Event("free", "drive arrives", "surroundings", "a", "free", (), {"a": {"1": "2"}})
    of = railway(JUNCTION).machine
    wrong = Invariant("drives", clause(("a", "1")), "a has gone over")
    simulator = Simulator(Machine({"a": a}, (free,), (wrong,), of.wishes, (), {}))
    assert simulator.possible({"a": "1"}) == [free]
    assert simulator.do(free, {"a": "1"}).broken == (wrong,)
    assert simulator.broken({"a": "2"}) == (wrong,)
