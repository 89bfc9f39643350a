"""The words of the command `editor`."""

from __future__ import annotations

import click

from bellcrank.commands.declaring import command

_DESCRIPTION = """\
Serve an editor: errors, the verdict, names and help while a layout is being written.

It is the editor that starts this command, and speaks to it over standard input and output by the
Language Server Protocol, version 3.17."""

DECLARED = command(
    "editor",
    description=_DESCRIPTION,
    examples=["--stdio"],
    params=[
        click.Option(
            ["--stdio"],
            is_flag=True,
            help="speak over standard input and output, as it does anyhow; some editors say so",
        ),
    ],
)
