"""What happens on a railway that no report tells, or one does at once; and how unlikely it is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from bellcrank.machine.machine_model import Event, EventKind, Machine

UNLIKELY: Mapping[EventKind, int] = {
    "drive arrives": 0,
    "passes signal": 0,
    "enters": 0,
    "joins": 0,
    "tail leaves": 0,
    "wholly in": 0,
    "turns back": 0,
    "comes in": 0,
    "ready to leave": 1,
    "uncoupled": 2,
    "taken off": 3,
    "put down": 8,
    "stands": 8,
}
"""What trains, drives and people at the railway do, and how unlikely it is. What is done by hand is
thought of only where nothing else fits, and that something comes from nowhere last of all.
Accidents are none of it."""


def reported_by(event: Event, machine: Machine) -> str | None:
    """The section that a train's event reports occupied at once, if it does."""
    variables = (machine.variables[name] for name in event.updates)
    return next((variable.of for variable in variables if variable.kind == "report"), None)


def reports_of(machine: Machine) -> Iterator[str]:
    """The variables that say what sections reported last."""
    return (v.name for v in machine.variables.values() if v.kind == "report")
