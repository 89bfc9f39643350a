"""Compiling the layouts of tests, which must be free of errors; warnings are let through."""

from __future__ import annotations

import bellcrank
from bellcrank import Compilation
from bellcrank.machine.machine_model import Machine
from bellcrank.proof.moving.moving_proof import Effort


def compiled(text: str) -> Compilation:
    """A layout, without the proof of its movements."""
    compilation = bellcrank.compile(text, effort=None)
    assert compilation.ok, compilation.diagnostics
    return compilation


def machine_of(text: str) -> Machine:
    machine = compiled(text).machine
    assert machine is not None
    return machine


def undecided(text: str) -> Compilation:
    """A layout of which everything is there to be written: the proof of its movements is
    made, but given no time."""
    compilation = bellcrank.compile(text, effort=Effort(seconds=0))
    assert compilation.ok, compilation.diagnostics
    return compilation
