"""A story played again in the machine that it is told of, event by event."""

from __future__ import annotations

from dataclasses import replace

from bellcrank.machine.machine_model import Machine, after, holds, possible
from bellcrank.proof.moving.story import Story


def assert_replays(machine: Machine, story: Story) -> None:
    """A story happens as it is told, and only its end violates the property."""
    by_name = {event.name: event for event in machine.events}
    own = [i for i in machine.invariants if i.of == story.of]
    state = machine.start()
    for drive, position in story.start:
        assert position in machine.variables[f"drive {drive}"].initial
        state[f"drive {drive}"] = position
    for step in story.steps:
        assert all(holds(i.clause, state) for i in own), step.event
        assert possible(by_name[step.event], state), step.event
        assert step.sentence == by_name[step.event].text
        state = after(by_name[step.event], state)
    assert not own or story.ending in {i.sentence for i in own if not holds(i.clause, state)}


def assert_plays(machine: Machine, story: Story) -> None:
    """A story happens as it is told, whatever it violates on the way.

    That a railway can never come to rest is no property of one state.
    """
    assert_replays(replace(machine, invariants=()), story)
