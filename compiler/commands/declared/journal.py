"""The words of the command `journal`."""

from __future__ import annotations

import click

from bellcrank.commands.declaring import FILE, command, json_option, layout_file

_EXIT_CODES = """\
exit status:
  0  told, or written
  1  written only as far as trains could be found that fit what was reported
  2  an error in the layout, in the journal or on the command line
130  stopped by Ctrl-C; 141 if what reads the output went away"""

_DESCRIPTION = """\
Tell what the journal of `bellcrank run` holds, or write a session of it as a script for
`bellcrank rehearse`.

A session goes from a start until all is stopped. What was asked, reported and decided is in the
journal; what trains did between two reports is inferred, so that every report comes about."""

DECLARED = command(
    "journal",
    description=_DESCRIPTION,
    examples=[
        "harbour-terminus.crank",
        "harbour-terminus.crank --script sunday.rehearsal",
        "harbour-terminus.crank /var/lib/harbour.journal --session 3 --script -",
    ],
    statuses=_EXIT_CODES,
    exclusive=[["script", "json"]],
    params=[
        layout_file,
        click.Argument(
            ["journal"],
            required=False,
            type=FILE,
            metavar="[JOURNAL]",
            help="default: beside the layout, FILE.journal",
        ),
        click.Option(
            ["--script"],
            type=FILE,
            metavar="SCRIPT",
            help="write a session there as a script of rehearsals (- for the terminal)",
        ),
        click.Option(
            ["--session"],
            type=click.IntRange(1),
            metavar="N",
            help="which one, by its number in the list (default: the last)",
        ),
        json_option,
    ],
)
