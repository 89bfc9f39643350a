"""Compiling and proving the layouts of tests, which must be free of errors; warnings are let
through."""

from __future__ import annotations

from pathlib import Path

import bellcrank
from bellcrank import Broken, Checked, Effort, Sound
from bellcrank.machine.machine_model import Machine
from bellcrank.proof.standing.standing_check import check_standing
from bellcrank.proof.verdict import Verdict

NO_TIME = Effort(seconds=0)
"""Leaves all undecided that is to be proved of movements."""


def sound(compiled: Broken | Sound) -> Sound:
    """What was compiled without an error."""
    assert isinstance(compiled, Sound), compiled.diagnostics
    return compiled


def compiled(text: str) -> Sound:
    """A layout of which nothing is proved yet."""
    return sound(bellcrank.compile(text))


def compiled_file(path: Path) -> Sound:
    return sound(bellcrank.compile_file(path))


def machine_of(text: str) -> Machine:
    return compiled(text).machine


def checked(text: str, effort: Effort = Effort(), seconds: float | None = None) -> Checked:
    """A layout with both verdicts."""
    return bellcrank.prove(compiled(text), effort, seconds=seconds)


def checked_file(path: Path, effort: Effort = Effort()) -> Checked:
    return bellcrank.prove(compiled_file(path), effort)


def undecided(text: str) -> Checked:
    """A layout of which everything is there to be written: the proof of its movements is
    made, but given no time."""
    return checked(text, NO_TIME)


def standing(c: Sound, seconds: float | None = None) -> Verdict:
    """The verdict on routes as they stand alone."""
    return check_standing(c.layout, c.table, c.locking, seconds)
