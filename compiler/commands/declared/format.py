"""The words of the command `format`."""

from __future__ import annotations

import click

from bellcrank.commands.declaring import command, layout_file

DECLARED = command(
    "format",
    examples=["terminus.crank", "terminus.crank --write"],
    params=[
        layout_file,
        click.Option(["--write"], is_flag=True, help="change the file in its place"),
    ],
)
