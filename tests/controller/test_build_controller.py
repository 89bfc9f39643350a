"""The controller: what it reads, and what it does at each input."""

from __future__ import annotations

from pathlib import Path

import pytest

from bellcrank.compilation import Sound, compile_file
from bellcrank.controller.build_controller import build_controller

EXAMPLES = Path(__file__).parents[2] / "examples"
SOUND_EXAMPLES = ["four-track-station", "hand-worked-branch", "harbour-terminus", "turning-loop"]


@pytest.mark.parametrize("name", SOUND_EXAMPLES)
def test_a_controller_reads_nothing_but_its_own_variables(name: str) -> None:
    c = compile_file(EXAMPLES / f"{name}.crank")
    assert isinstance(c, Sound)
    controller = build_controller(c.control)
    machine = c.machine.variables
    # What a section is held for is the controller's alone; all else is told by reports.
    truth = {v for v in machine if machine[v].kind != "held"}
    for reaction in (
        *controller.steps,
        *(reaction for found in controller.inputs.values() for reaction in found),
    ):
        named = {literal.variable for clause in reaction.guard for literal in clause}
        named |= reaction.updates.keys()
        assert named <= controller.variables.keys()
        assert not named & truth
