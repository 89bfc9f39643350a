"""The words of the command `why`."""

from __future__ import annotations

import click

from bellcrank.commands.completing import routes
from bellcrank.commands.declaring import command, json_option, layout_file

DECLARED = command(
    "why",
    examples=['harbour-terminus.crank "W1 to T1"', "harbour-terminus.crank W1 to T1 G1 to T2"],
    statuses="""\
exit status:
  0  it is explained
  2  an error in the input or on the command line""",
    params=[
        layout_file,
        click.Argument(
            ["routes"],
            nargs=-1,
            required=True,
            metavar="ROUTE...",
            help="one route, or two",
            shell_complete=routes,
        ),
        json_option,
    ],
)
