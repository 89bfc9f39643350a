"""Machines without what people do to vehicles that stand: so small that all their states can
be looked at. What they cannot show is looked at with the smallest layouts."""

from __future__ import annotations

from dataclasses import replace

from bellcrank.machine.machine_model import Machine
from bellcrank.proof.moving.story import events_of


def without_hands(machine: Machine) -> Machine:
    """A machine in which nobody handles vehicles that stand."""
    return replace(machine, events=tuple(events_of(machine, by_hand=False)))
