"""The words of the command `rehearse`."""

from __future__ import annotations

import click

from bellcrank.commands.declaring import FILE, command, layout_file

_EXIT_CODES = """\
exit status:
  0  all went as the script says, every expectation is met, nothing unsafe happened
  1  an act was refused, an expectation is not met, or something unsafe happened
  2  an error in the layout, in the script or on the command line
130  stopped by Ctrl-C; 141 if what reads the output went away

Without a script, lines are read from the terminal, and whatever is tried there the
status is 0; lines that come from a pipe count as a script."""

DECLARED = command(
    "rehearse",
    description="Run events on the layout: by a script, which is a test of it, or one by one as "
    "you type them.",
    examples=[
        "harbour-terminus.crank",
        "harbour-terminus.crank harbour-terminus.rehearsal",
        "harbour-terminus.crank harbour-terminus.rehearsal --json",
    ],
    statuses=_EXIT_CODES,
    params=[
        layout_file,
        click.Argument(
            ["script"],
            required=False,
            type=FILE,
            metavar="[SCRIPT]",
            help="lines to run (.rehearsal); without it, a prompt asks for them",
        ),
        click.Option(["--json"], is_flag=True, help="print JSON; needs a SCRIPT"),
    ],
)
