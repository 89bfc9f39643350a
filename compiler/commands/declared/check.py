"""The words of the command `check`."""

from __future__ import annotations

from collections.abc import Mapping

import click

from bellcrank.commands.declaring import (
    FOLDER,
    OneOfMany,
    command,
    json_option,
    layout_file,
    recheck,
    scheduler,
    time_limit,
    watch,
)
from bellcrank.commands.exit_statuses import OF_A_PROOF
from bellcrank.controller.breakings import BREAKINGS

_ALSO_SAID = {
    "spad": "signal passed at stop",
    "signal passed at danger": "signal passed at stop",
    "runaway": "vehicles left behind",
    "train divided": "vehicles left behind",
    "detector broken": "stuck at clear",
    "points failed": "points did not move",
}
"""What railwaymen say."""


def _meanings() -> Mapping[str, str]:
    from bellcrank.proof.noticed_words import HAPPENS

    return {"all": "each of them, as a table"} | {str(kind): said for kind, said in HAPPENS.items()}


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
        click.Option(
            ["--broken"],
            type=OneOfMany(["all", *BREAKINGS], _meanings, _ALSO_SAID),
            metavar="WHAT",
            help="decide what the railway notices if WHAT happens once, and what can happen until "
            "then: `all`, or one with its stories, such as `stuck at clear` (`--broken list` says "
            "which there are); takes minutes",
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
