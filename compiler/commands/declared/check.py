"""The words of the command `check`."""

from __future__ import annotations

import click

from bellcrank.commands.broken_option import broken_option
from bellcrank.commands.declaring import (
    FOLDER,
    command,
    json_option,
    layout_file,
    recheck,
    scheduler,
    time_limit,
    watch,
)
from bellcrank.commands.exit_statuses import OF_A_PROOF

DECLARED = command(
    "check",
    examples=[
        "harbour-terminus.crank",
        "harbour-terminus.crank --json",
        "harbour-terminus.crank --controller",
        "harbour-terminus-forgetful.crank --fix",
        "harbour-terminus.crank --watch",
    ],
    statuses=OF_A_PROOF,
    exclusive=[("fix", "spare"), ("fix", "watch")],
    params=[
        layout_file,
        json_option,
        time_limit,
        scheduler,
        recheck,
        click.Option(
            ["--fix"],
            is_flag=True,
            help="write the rules that a `locking written` block lacks into it, put right the "
            "positions that it states otherwise than the track, and check again",
        ),
        click.Option(
            ["--spare"],
            is_flag=True,
            help="list the written rules that could be left out of a locking that is proved",
        ),
        click.Option(
            ["--blocked"],
            is_flag=True,
            help="tell how trains come to block each other, if they can",
        ),
        click.Option(
            ["--controller"],
            is_flag=True,
            help="prove the controller too: what runs the railway from what detectors report",
        ),
        broken_option(
            "decide what the railway notices if WHAT happens once, and what can happen until then, "
            "with stories of all that is named"
        ),
        click.Option(
            ["--obligations"],
            type=FOLDER,
            metavar="FOLDER",
            help="write every obligation there as a file for SMT-LIB solvers, and in words",
        ),
        click.Option(
            ["--afresh"],
            is_flag=True,
            help="have the solver decide everything now; else what it answered to the same "
            "obligations before is taken from your cache folder (BELLCRANK_KEPT=no: never)",
        ),
        watch,
    ],
)
