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
130  stopped by Ctrl-C before anything was written"""

DECLARED = command(
    "commission",
    description="Go through a layout: every wired drive is thrown each way and every route is "
    "set, and you say what you see. Drives that move the wrong way are called `crossed` in "
    "FILE, and a dated record is written beside it. You can leave at any time.",
    examples=[
        "harbour-terminus.crank",
        "harbour-terminus.crank --to mqtt://localhost",
        "harbour-terminus.crank --only S1 --only 'W1 to T1'",
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
            help="ask only of this drive or route; may be given again",
        ),
        click.Option(
            ["--json"],
            is_flag=True,
            help="print what was found as JSON at the end; what is told and asked goes to "
            "standard error",
        ),
    ],
)
