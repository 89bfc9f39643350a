"""A story played again in the machine that it is told of, event by event."""

from __future__ import annotations

from bellcrank.machine.machine_model import Machine, after, holds, possible
from bellcrank.proof.moving.story import Story


def assert_replays(machine: Machine, story: Story) -> None:
    """A story happens as it is told, and only its end violates the property. Where the
    railway never comes to rest from its end on, something may have been wrong before."""
    by_name = {event.name: event for event in machine.events}
    own = [i for i in machine.invariants if i.of == story.of]
    state = machine.start()
    for drive, position in story.start:
        assert position in machine.variables[f"drive {drive}"].initial
        state[f"drive {drive}"] = position
    for step in story.steps:
        assert story.of == "rest" or all(holds(i.clause, state) for i in own)
        assert possible(by_name[step.event], state), step.event
        assert step.sentence == by_name[step.event].text
        state = after(by_name[step.event], state)
    wrong = {i.sentence for i in own if not holds(i.clause, state)}
    assert story.ending in (wrong or {"from here on the railway never comes to rest"})
