"""Small layouts to rehearse on, and the shortest way to play a script on them."""

from __future__ import annotations

from sound_layouts import compiled

from bellcrank.diagnostics import Diagnostic
from bellcrank.rehearsal.acts import Outcome, run_script
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.script import read_script

JUNCTION = """
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - B - stop
run P1.diverging - <S2 - C - stop
"""
"""Two roads. Routes: H to B, H to C, S1 to WEST, S2 to WEST."""

OVERLAP = """
run edge WEST - A - >H0 - B - >H - C - <D - T - stop
overlap H = C
signal H shows stop, call, clear
route CALL = H to T calling on shows call
"""
"""An overlap beyond H, and a route that calls a train on into T."""

FORGETFUL = JUNCTION + "locking written { every route needs its positions }\n"
"""Nothing keeps routes apart but that their drives lie right when they are set."""


def railway(text: str) -> Railway:
    c = compiled(text)
    return Railway(c.machine, c.layout, c.table)


def faults(layout: str, script: str) -> tuple[Diagnostic, ...]:
    """What cannot be read of a script."""
    return read_script(script, "script", railway(layout))[1]


def played(layout: str, script: str) -> list[Outcome]:
    """What comes of each line of a script without mistakes."""
    of = railway(layout)
    lines, found = read_script(script, "script", of)
    assert not found, found
    return list(run_script(of, lines))


def last(layout: str, script: str) -> Outcome:
    return played(layout, script)[-1]


def told(outcome: Outcome) -> list[str]:
    """The sentences of the events of a line."""
    return [step.event.text for step in outcome.steps]


def met(layout: str, script: str, expectation: str) -> bool:
    """Whether an expectation is met after a script whose every act can be done."""
    outcomes = played(layout, f"{script}\n{expectation}")
    assert not any(outcome.refused for outcome in outcomes), outcomes
    found = outcomes[-1]
    assert found.met is not None
    assert found.found
    return found.met
