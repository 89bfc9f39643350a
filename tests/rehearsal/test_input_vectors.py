"""Test vectors of the controller: what they show, and that the railway can bring it about.

That what they expect is right is tried in tests/targets/test_reader.py, by other readers.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

import pytest
from random_layouts import compiled as random_layout
from random_layouts import shown
from sound_layouts import compiled

from bellcrank import Sound
from bellcrank.controller.composition import compose
from bellcrank.controller.controller_model import Input
from bellcrank.machine.machine_model import Event, Machine, State, after
from bellcrank.rehearsal import input_vectors
from bellcrank.rehearsal.input_vectors import InputVectors, make_input_vectors
from bellcrank.rehearsal.input_walk import InputRun
from bellcrank.running.reacting import BY_PEOPLE, Reacting
from bellcrank.running.simulator import Simulator

ONE_TRACK = """
layout "Fen End" on two rails
run edge WEST - A - >V - B - <X - C - stop
"""

TWO_TRACKS = """
layout "Reedham Halt" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
drive P detected
"""


def vectors_of(c: Sound) -> InputVectors:
    return make_input_vectors(c.controller, lambda: c.composed)


@cache
def made(text: str) -> tuple[Sound, InputVectors]:
    c = compiled(text)
    return c, vectors_of(c)


@cache
def random_ones() -> list[tuple[int, Sound, InputVectors]]:
    found = []
    for seed in range(12):
        c = random_layout(seed)[1]
        if isinstance(c, Sound):
            vectors = vectors_of(c)
            found.append((seed, c, vectors))
    assert len(found) >= 8
    return found


class Railway:
    """The composed machine, as all states of it that fit what has come in so far."""

    def __init__(self, c: Sound, run: InputRun) -> None:
        self.reacting = Reacting(c.controller)
        self.machine: Machine = compose(c.control, c.machine)
        self.simulator = Simulator(self.machine)
        self.input_of = {
            r.name: given for given, found in c.controller.inputs.items() for r in found
        }
        self.steps = {step.name for step in c.controller.steps}
        names = [v.name for v in c.controller.variables.values()]
        start = {name: run.start[name] for name in names}
        self.known: State = start
        self.states = self.moved([{**self.machine.start(), **start}])

    def moved(self, states: Iterable[State]) -> list[dict[str, str]]:
        """All that may be so before the next input."""
        found = {tuple(state.values()): dict(state) for state in states}
        left = list(found.values())
        while left:
            state = left.pop()
            for event in self.simulator.possible(state):
                if event.name in self.input_of or event.name in self.steps:
                    continue
                following = after(event, state)
                if any(following[v] != x for v, x in self.known.items()):
                    continue  # that is reported at once
                if tuple(following.values()) not in found:
                    found[tuple(following.values())] = following
                    left.append(following)
        return list(found.values())

    def events(self, given: Input, state: State) -> list[Event]:
        """What may happen to bring an input about."""
        said = f"report {given.of}"
        return [
            event
            for event in self.simulator.possible(state)
            if self.input_of.get(event.name) == given
            or (given.kind == "occupied" and event.name not in self.input_of
                and said in event.updates)
        ]  # fmt: skip

    def input(self, given: Input) -> None:
        answer = self.reacting.input(given, self.known)
        before, self.known = self.states, answer.state
        following = []
        for state in before:
            for event in self.events(given, state):
                state_after = after(event, state)
                for step in answer.done[1:]:
                    [same] = [e for e in self.machine.events if e.name == step.name]
                    state_after = after(same, state_after)
                if all(state_after[v] == x for v, x in answer.state.items()):
                    following.append(state_after)
        self.states = self.moved(following)


@pytest.mark.parametrize("text", [ONE_TRACK, TWO_TRACKS], ids=["one track", "two tracks"])
def test_every_input_of_a_run_can_come_on_the_railway(text: str) -> None:
    """Looked for among all that trains may have done meanwhile."""
    c, vectors = made(text)
    runs = [run for run in vectors.runs if not run.occupied and not run.lies]
    assert sum(len(run.inputs) for run in runs) > 20
    for run in runs:
        railway = Railway(c, run)
        for number, given in enumerate(run.inputs):
            if given.granted:
                railway.input(given.input)
                assert railway.states, f"input {number}, {given.input}, of {run}"


@pytest.mark.parametrize("text", [ONE_TRACK, TWO_TRACKS], ids=["one track", "two tracks"])
def test_no_input_that_raises_the_alarm_can_come_on_the_railway(text: str) -> None:
    c, vectors = made(text)
    alarms = 0
    for run in vectors.runs:
        if run.occupied or run.lies:
            continue
        railway = Railway(c, run)
        for number in range(len(run.inputs) + 1):
            for wrong in run.alarms:
                if wrong.after == number and wrong.input.kind in ("occupied", "clear"):
                    alarms += 1
                    for state in railway.states:
                        assert railway.events(wrong.input, state) == []
            if number < len(run.inputs) and run.inputs[number].granted:
                railway.input(run.inputs[number].input)
    assert alarms > 3


def reachable(c: Sound) -> set[str]:
    """Every reaction and step that can happen at all: by a look at every state of controller and
    railway in which the controller has done what it can."""
    reacting = Reacting(c.controller)
    machine = compose(c.control, c.machine)
    simulator = Simulator(machine)
    named = {event.name: event for event in machine.events}
    input_of = {r.name: given for given, found in c.controller.inputs.items() for r in found}
    variables = list(c.controller.variables)
    starts = [{}, {v.name: v.initial[-1] for v in machine.variables.values()}]
    left = [{**machine.start(), **start} for start in starts]
    seen = {tuple(state.values()) for state in left}
    happened: set[str] = set()
    while left:
        state = left.pop()
        for event in simulator.possible(state):
            following = after(event, state)
            known = {name: state[name] for name in variables}
            given = input_of.get(event.name)
            if given is None:
                said = [v for v in event.updates if machine.variables[v].kind == "report"]
                if said and following[said[0]] != state[said[0]]:
                    given = Input("occupied", machine.variables[said[0]].of)
            if given is not None:
                answer = reacting.input(given, known)
                happened.update(reaction.name for reaction in answer.done)
                for step in answer.done[1:]:
                    following = after(named[step.name], following)
            if tuple(following.values()) not in seen:
                seen.add(tuple(following.values()))
                left.append(following)
    return happened


@pytest.mark.parametrize("text", [ONE_TRACK, TWO_TRACKS], ids=["one track", "two tracks"])
def test_every_reaction_and_step_that_can_happen_at_all_is_shown(text: str) -> None:
    c, vectors = made(text)
    reacting = Reacting(c.controller)
    happened: set[str] = set()
    for run in vectors.runs:
        state: State = run.start
        for given in run.inputs:
            answer = reacting.input(given.input, state)
            happened.update(reaction.name for reaction in answer.done)
            state = answer.state
    assert happened == reachable(c)


def test_what_is_said_to_be_covered_is() -> None:
    """Counted again from the runs, by letting the controller do them."""
    for seed, c, vectors in random_ones():
        reacting = Reacting(c.controller)
        happened, refused, alarms = set(), set(), set()
        for run in vectors.runs:
            state: State = run.start
            for number in range(len(run.inputs) + 1):
                for wrong in (a for a in run.alarms if a.after == number):
                    assert reacting.input(wrong.input, state).outcome == "alarm"
                    alarms.add(wrong.input)
                if number == len(run.inputs):
                    break
                given = run.inputs[number]
                answer = reacting.input(given.input, state)
                assert answer.outcome == ("done" if given.granted else "refused")
                assert answer.changes == given.changes
                happened.update(reaction.name for reaction in answer.done)
                if not given.granted:
                    assert given.input.kind in BY_PEOPLE
                    refused.add(given.input)
                state = answer.state
        with shown(random_layout(seed)[0]):
            steps = {step.name for step in c.controller.steps}
            assert vectors.steps.in_runs == len(happened & steps)
            assert vectors.reactions.in_runs == len(happened - steps)
            assert vectors.refused.in_runs == len(refused)
            assert vectors.alarms.in_runs == len(alarms)
            every = sum(map(len, c.controller.inputs.values()))
            assert vectors.reactions.in_runs + vectors.reactions.not_shown == every


def test_most_that_controllers_of_random_layouts_do_is_shown() -> None:
    in_runs = not_shown = 0
    for _, _, vectors in random_ones():
        in_runs += vectors.reactions.in_runs + vectors.steps.in_runs
        not_shown += vectors.reactions.not_shown + vectors.steps.not_shown
    assert in_runs >= 0.75 * (in_runs + not_shown), (in_runs, not_shown)


def test_no_step_is_possible_after_a_start() -> None:
    """Or the first input would have to wait for it."""
    for _, c, vectors in random_ones():
        reacting = Reacting(c.controller)
        for run in vectors.runs:
            for step in reacting.controller.steps:
                guard = [[run.start[x.variable] in x.values for x in cl] for cl in step.guard]
                assert not all(map(any, guard)), step.name


def test_runs_begin_with_and_without_reports_of_drives_and_vehicles() -> None:
    _, vectors = made(TWO_TRACKS)
    assert {bool(run.lies) for run in vectors.runs} == {True, False}
    assert {position for run in vectors.runs for position in run.lies.values()} == {
        "straight", "diverging"
    }  # fmt: skip
    assert any(run.occupied for run in vectors.runs)


def test_the_same_layout_always_has_the_same_vectors() -> None:
    c, vectors = made(TWO_TRACKS)
    again = compiled(TWO_TRACKS)
    assert vectors == vectors_of(again)
    assert again is not c


@pytest.mark.parametrize("most", [0, 30])
def test_vectors_keep_within_their_bound_and_say_what_is_left_out(most: int) -> None:
    c, _ = made(TWO_TRACKS)
    vectors = make_input_vectors(c.controller, lambda: c.composed, most)
    assert sum(len(run.inputs) for run in vectors.runs) <= most
    assert vectors.reactions.not_shown > 10


def test_a_controller_that_is_too_large_gets_no_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(input_vectors, "MOST_REACTIONS", 10)
    c, _ = made(TWO_TRACKS)
    vectors = vectors_of(c)
    assert vectors.runs == ()
    assert vectors.steps.in_runs == vectors.reactions.in_runs == vectors.alarms.in_runs == 0
    assert vectors.steps.not_shown == len(c.controller.steps)
