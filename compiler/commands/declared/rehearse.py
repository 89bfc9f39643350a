"""The words of the command `rehearse`."""

from __future__ import annotations

import click

from bellcrank.commands.declaring import FILE, Duration, command, layout_file, out_option

_EXIT_CODES = """\
exit status:
  0  all went as the script says, every expectation is met, nothing unsafe happened
  1  an act was refused, an expectation is not met, or something unsafe happened
  2  an error in the layout, in the script or on the command line
130  stopped by Ctrl-C; 141 if what reads the output went away

With --find: 0 if moves were found; 1 if it is proved that there are none, or the script failed;
2 as above; 3 if none were found in time, so that it is undecided.

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
        'harbour-terminus.crank --find "train in T2 before D2"',
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
        click.Option(["--json"], is_flag=True, help="print JSON; needs a SCRIPT or --find"),
        click.Option(
            ["--find"],
            metavar="GOAL",
            help="find the fewest requests and moves that lead from the end of the SCRIPT, or from "
            "rest, to where GOAL holds: what can stand after `expect`, joined by `and`",
        ),
        click.Option(
            ["--by-hand"],
            is_flag=True,
            help="let vehicles be put on the track, lifted off and made ready to leave for GOAL",
        ),
        out_option(FILE, "FILE", "write what leads to GOAL there, as a script"),
        click.Option(
            ["--time-limit"],
            type=Duration(),
            metavar="TIME",
            help="give up looking for moves after this long, such as 90 (seconds) or 2min; 60 "
            "seconds if it is not said",
        ),
    ],
)
