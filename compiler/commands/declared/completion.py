"""The words of the command `completion`."""

from __future__ import annotations

import click

from bellcrank.commands.declaring import OneOf, command

SHELLS = ("bash", "zsh", "fish")

DECLARED = command(
    "completion",
    examples=["bash", "zsh", "fish > bellcrank.fish"],
    params=[
        click.Argument(["shell"], type=OneOf(SHELLS), metavar="SHELL", help="bash, zsh or fish"),
    ],
)
