"""The words of the command `new`."""

from __future__ import annotations

import click

from bellcrank.commands.declaring import FILE, OneOf, command
from bellcrank.starting.track_kinds import TRACK_KINDS
from bellcrank.starting.wishes import KINDS_OF_DRIVE, KINDS_OF_SIGNALS

DECLARED = command(
    "new",
    description="Write a first layout, with remarks that say what to change. Without a kind, at a "
    "terminal, it asks. No file that is there is written over.",
    examples=[
        "",
        "slip",
        "terminus halt.crank --roads 3 --decoders",
        "oval --detectors --title 'Garden Loop'",
    ],
    statuses="""\
exit status:
  0  the layout is written
  2  an error on the command line, or there is such a file already""",
    params=[
        click.Argument(
            ["kind"],
            required=False,
            type=OneOf(TRACK_KINDS),
            metavar="[KIND]",
            help=f"what lies there: {', '.join(TRACK_KINDS)}",
        ),
        click.Argument(
            ["file"],
            required=False,
            type=FILE,
            metavar="[FILE]",
            help="where to write (default: named after the kind)",
        ),
        click.Option(["--roads"], type=int, metavar="N", help="how many roads"),
        click.Option(
            ["--slip-drives"], type=int, metavar="N", help="how many drives a slip has, 1 or 2"
        ),
        click.Option(["--title"], metavar="TEXT", help="the title of the layout"),
        click.Option(
            ["--signals"],
            type=OneOf(KINDS_OF_SIGNALS),
            metavar="KIND",
            help="real, imagined (only thought of, as places where routes begin) or none, and then "
            "there are no routes (default: real, for a slip imagined)",
        ),
        click.Option(
            ["--decoders/--no-decoders"],
            default=None,
            help="whether drives and signals are wired to decoders (default: for a slip)",
        ),
        click.Option(
            ["--drive"],
            type=OneOf(KINDS_OF_DRIVE),
            metavar="KIND",
            help=f"what moves the blades: {', '.join(KINDS_OF_DRIVE)} (default: coil)",
        ),
        click.Option(
            ["--outputs"], type=int, metavar="N", help="outputs of each decoder (default: 4)"
        ),
        click.Option(
            ["--switches"],
            type=int,
            metavar="N",
            help="address switches of each decoder (default: 9)",
        ),
        click.Option(
            ["--address"], type=int, metavar="N", help="the first output number (default: 1)"
        ),
        click.Option(
            ["--detectors/--no-detectors"],
            default=None,
            help="whether detectors tell where trains are",
        ),
        click.Option(
            ["--inputs"], type=int, metavar="N", help="inputs of each detector (default: 8)"
        ),
        click.Option(
            ["--replace"], is_flag=True, help="write over a file of this name, if there is one"
        ),
    ],
)
