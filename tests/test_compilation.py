"""From a text to what is known of it: broken, sound, and checked."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sound_layouts import checked, compiled

import bellcrank
from bellcrank import Broken, Checked, Effort, Sound
from bellcrank.controller.composition import compose
from bellcrank.controller.reactions import Control
from bellcrank.document.build_document import build_document
from bellcrank.emit.extras import extras
from bellcrank.machine.machine_model import Machine
from bellcrank.terminal.verdicts import verdict_text

HALT = """\
layout "Reedham Halt"
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
"""


@pytest.mark.parametrize(
    "fault",
    ["run A B\n", "signal Q shunt\n", "drive P = K.1\n", "locking written { W locks S }\n"],
    ids=["unreadable", "track", "hardware", "locking"],
)
def test_a_text_with_an_error_in_any_stage_is_broken_and_has_nothing_to_go_on_with(
    fault: str,
) -> None:
    c = bellcrank.compile(HALT + fault)
    assert type(c) is Broken
    assert any(d.severity == "error" for d in c.diagnostics)
    for name in ("table", "locking", "machine", "commands", "timetables", "standing"):
        assert not hasattr(c, name)


def test_a_text_with_warnings_alone_is_sound() -> None:
    c = bellcrank.compile(HALT + "signal W shows stop, clear\nsection X = A, B\n")
    assert type(c) is Sound
    assert {d.severity for d in c.diagnostics} == {"warning"}


def test_a_sound_layout_has_no_verdict_before_it_is_proved() -> None:
    c = compiled(HALT)
    assert not hasattr(c, "outcome") and not hasattr(c, "proved")
    with pytest.raises(AttributeError):
        verdict_text(c)  # type: ignore[arg-type]
    with pytest.raises(AttributeError):
        build_document(c)  # type: ignore[arg-type]


def test_a_layout_that_was_proved_keeps_what_was_compiled_and_has_both_verdicts() -> None:
    sound = compiled(HALT)
    c = bellcrank.prove(sound)
    assert isinstance(c, Checked) and c.proved
    assert c.machine is sound.machine and c.table is sound.table
    assert c.standing.outcome == c.moving.outcome == "proved"


def test_it_is_proved_only_if_both_proofs_are() -> None:
    without_time = checked(HALT, Effort(seconds=0))
    assert without_time.standing.outcome == "proved"
    assert without_time.outcome == "undecided" and not without_time.proved
    forgetful = checked(HALT + "locking written { every route needs its positions }\n", seconds=0)
    assert forgetful.standing.outcome == forgetful.moving.outcome == "undecided"


def test_the_machine_of_controller_and_railway_is_made_once_for_proof_vectors_and_page(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made = []

    def composing(control: Control, alone: Machine) -> Machine:
        made.append(alone)
        return compose(control, alone)

    monkeypatch.setattr("bellcrank.controller.composition.compose", composing)
    sound = compiled(HALT)
    c = bellcrank.prove(sound, controller=True)
    extras(c, build_document(c))["page"]()
    assert made == [c.machine]


def test_the_machine_of_controller_and_railway_is_made_anew_of_another_machine() -> None:
    c = compiled(HALT)
    assert c.composed is c.composed
    other = replace(c, machine=replace(c.machine, assumptions={"rails": "are there"}))
    assert "rails" not in c.composed.assumptions
    assert "rails" in other.composed.assumptions
