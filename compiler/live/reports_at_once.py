"""What trains do that is reported the moment it happens."""

from __future__ import annotations

from collections.abc import Iterator

from bellcrank.machine.machine_model import Event, Machine


def reported_by(event: Event, machine: Machine) -> str | None:
    """The section that a train's event reports occupied at once, if it does."""
    variables = (machine.variables[name] for name in event.updates)
    return next((variable.of for variable in variables if variable.kind == "report"), None)


def reports_of(machine: Machine) -> Iterator[str]:
    """The variables that say what sections reported last."""
    return (v.name for v in machine.variables.values() if v.kind == "report")
