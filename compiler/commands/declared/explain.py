"""The words of the command `explain`."""

from __future__ import annotations

import click

from bellcrank.commands.completing import codes
from bellcrank.commands.declaring import command

DECLARED = command(
    "explain",
    examples=["E311", "undecided"],
    params=[
        click.Argument(
            ["code"],
            required=False,
            metavar="[CODE]",
            help="such as E311, or a word of a verdict such as undecided; without one, "
            "lists them all",
            shell_complete=codes,
        ),
    ],
)
