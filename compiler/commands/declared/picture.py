"""The words of the command `picture`."""

from __future__ import annotations

import click

from bellcrank.commands.declaring import FILE, OneOf, command, layout_file, out_option
from bellcrank.machine.machine_model import PROPERTIES

DECLARED = command(
    "picture",
    description="Draw the layout as a track plan, from the text alone.",
    examples=[
        "harbour-terminus.crank",
        'harbour-terminus.crank --route "W1 to T1" --out w1.svg',
        'harbour-terminus.crank --conflict "W1 to T1" "G1 to T2"',
        "harbour-terminus-forgetful.crank --story meetings",
        "long-line.crank --width 1200",
        "harbour-terminus.crank --show outputs --show sections",
    ],
    statuses="""\
exit status:
  0  the picture is written
  2  an error in the input or on the command line, or there is no such story""",
    exclusive=[("route", "conflict", "story")],
    params=[
        layout_file,
        click.Option(["--route"], metavar="ROUTE", help="show a route in the picture"),
        click.Option(
            ["--conflict"],
            nargs=2,
            metavar="ROUTE ROUTE",
            help="show two routes and where they meet",
        ),
        click.Option(
            ["--story"],
            type=OneOf(sorted(PROPERTIES)),
            metavar="PROPERTY",
            help=f"prove the layout and show how a property is violated: {', '.join(PROPERTIES)}",
        ),
        click.Option(
            ["--signals"],
            type=OneOf(("left", "right")),
            metavar="SIDE",
            default="left",
            help="the side of the line on which signals stand, as their trains go: left or right "
            "(default: left)",
        ),
        click.Option(
            ["--show"],
            type=OneOf(("sections", "outputs", "inputs")),
            multiple=True,
            metavar="WHAT",
            help="what is to stand below names: sections, outputs or inputs; may be given again",
        ),
        click.Option(
            ["--bare"],
            is_flag=True,
            help="track, signals and names alone: no title, no key, no arrows where trains run one "
            "way only, and no gaps where points lie the other way at rest",
        ),
        click.Option(
            ["--width"],
            type=click.IntRange(400),
            metavar="PIXELS",
            help="show what is wider in rows, with letters where lines go on (400 or more)",
        ),
        out_option(
            FILE, "FILE", "where to write, .svg or .png (default: named after the layout, .svg)"
        ),
    ],
)
