"""The command `completion`: what a shell must be told to complete words of a command line."""

from __future__ import annotations

import click
from click.shell_completion import get_completion_class

from bellcrank.commands.declaring import COMPLETE


def completion(shell: str) -> int:
    """Run the command; returns the exit status."""
    kind = get_completion_class(shell)
    assert kind is not None
    line = click.get_current_context().find_root().command
    click.echo(kind(line, {}, "bellcrank", COMPLETE).source())
    return 0
