"""The words of the command `format`."""

from __future__ import annotations

import click

from bellcrank.commands.declaring import command, layout_file

DECLARED = command(
    "format",
    examples=["terminus.crank", "terminus.crank --write", "terminus.crank --with-numbers --write"],
    params=[
        layout_file,
        click.Option(["--write"], is_flag=True, help="change the file in its place"),
        click.Option(
            ["--with-numbers"],
            is_flag=True,
            help="state the addresses, outputs and inputs that were chosen, so that a line that is "
            "added later changes none of them; with --write in all files of the layout in which "
            "some are left open",
        ),
    ],
)
