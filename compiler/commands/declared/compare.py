"""The words of the command `compare`."""

from __future__ import annotations

import click

from bellcrank.commands.declaring import FILE, command, json_option, time_limit

_EXIT_CODES = """\
exit status:
  0  nothing is different
  1  something is
  2  an error in a layout or on the command line
130  stopped by Ctrl-C; 141 if what reads the output went away"""

_DESCRIPTION = """\
Tell what changed between two texts of a layout: routes, which of them can be set together, what is
expected and assumed, what is to be done at the bench in the order of doing, and what is commanded
otherwise.

Remarks, order and form of the text make no difference. Both are proved, and what a solver says of
each pair of routes is compared, not only what is listed."""

DECLARED = command(
    "compare",
    description=_DESCRIPTION,
    examples=[
        "harbour-2025.crank harbour-terminus.crank",
        "harbour-terminus-commission-2001-02-03.txt harbour-terminus.crank",
        "harbour-terminus.crank --since HEAD~1",
        "harbour-terminus.crank --since HEAD~1 --sheet changed.html",
        "harbour-terminus.crank --since v3 --json",
    ],
    statuses=_EXIT_CODES,
    params=[
        click.Argument(
            ["old"],
            type=FILE,
            metavar="OLD",
            help="a layout file, or the record of a commissioning: then what has to be "
            "commissioned again since is told",
        ),
        click.Argument(
            ["new"], required=False, type=FILE, metavar="[NEW]", help="what became of it"
        ),
        click.Option(
            ["--since"],
            metavar="COMMIT",
            help="compare the file with what it was in a commit of git",
        ),
        click.Option(
            ["--sheet"],
            type=FILE,
            metavar="FILE",
            help="write a sheet to print as well, .html or .pdf: what is to be done at the bench, "
            "with boxes to tick, and all that is different",
        ),
        json_option,
        time_limit,
    ],
)
