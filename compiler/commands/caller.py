"""Who runs a command line: the process that is there for nothing else, or a program of its
own."""

from __future__ import annotations

from dataclasses import dataclass

import click


@dataclass(frozen=True, slots=True)
class Caller:
    """whole_process: the process ends with the command."""

    whole_process: bool = False


def caller() -> Caller:
    """Of the command that is running."""
    context = click.get_current_context(silent=True)
    found = context.find_object(Caller) if context is not None else None
    return found or Caller()
