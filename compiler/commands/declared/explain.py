"""The words of the command `explain`."""

from __future__ import annotations

import click

from bellcrank.commands.completing import codes
from bellcrank.commands.declaring import command

DECLARED = command(
    "explain",
    examples=["E311", "undecided", "no way back"],
    params=[
        click.Argument(
            ["code"],
            required=False,
            nargs=-1,
            metavar="[CODE]",
            help="such as E311, a word of a verdict such as undecided, or the name of what it "
            "assumes; without one, lists them all",
            shell_complete=codes,
        ),
    ],
)
