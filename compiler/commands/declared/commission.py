"""The words of the command `commission`."""

from __future__ import annotations

import click

from bellcrank.commands.declaring import FILE, command, layout_file, link_options

_EXIT_CODES = """\
exit status:
  0  everything was asked, and all is right or was put right
  1  something is wrong and was not put right
  2  an error in the input, on the command line or of the connection
  3  nothing wrong was seen, but not everything was asked
130  stopped by Ctrl-C before anything was written

With --history: 0 if all has been found right as it is now, 1 if something was found wrong, 3 if
something is left to be tested."""

DECLARED = command(
    "commission",
    description="Go through a layout: every wired drive, frog, signal and output is switched each "
    "way, a vehicle is pushed through every section that reports, and every route is set; you "
    "say what you see. Drives that move the wrong way are called `crossed` in FILE, sections "
    "are given the inputs that report them, and what must be wired anew is said. A dated "
    "record is written beside FILE. You can leave at any time.",
    examples=[
        "harbour-terminus.crank",
        "harbour-terminus.crank --to mqtt://localhost",
        "harbour-terminus.crank --only S1 --only 'W1 to T1'",
        "harbour-terminus.crank --only K2 --by 'A. Member'",
        "harbour-terminus.crank --history",
        "harbour-terminus.crank --since harbour-terminus-commission-2001-02-03.txt",
    ],
    statuses=_EXIT_CODES,
    params=[
        layout_file,
        *link_options,
        click.Option(
            ["--yes"], is_flag=True, help="with --to: send each throw without asking first"
        ),
        click.Option(
            ["--log"],
            type=FILE,
            metavar="LOG",
            help="with --to: add what is sent to this log, as `send` does, and leave what it "
            "says was thrown shortly before the rest that it still needs",
        ),
        click.Option(
            ["--only"],
            multiple=True,
            metavar="NAME",
            help="ask only of what is called so, or is wired to this decoder or detector; may be "
            "given again",
        ),
        click.Option(
            ["--since"],
            type=FILE,
            metavar="RECORD",
            help="leave out what this record says was found right, unless its wires or what comes "
            "of them has changed since; so it goes on where you left",
        ),
        click.Option(
            ["--history"],
            is_flag=True,
            help="ask nothing: list the records that stand beside FILE, and what has never been "
            "tested, was found wrong or has changed since",
        ),
        click.Option(["--by"], metavar="NAME", help="who answers, for the record"),
        click.Option(["--remark"], metavar="TEXT", help="a remark for the record"),
        click.Option(
            ["--json"],
            is_flag=True,
            help="print what was found as JSON at the end; what is told and asked goes to "
            "standard error",
        ),
    ],
)
