"""The words of the command `commands`."""

from __future__ import annotations

import click

from bellcrank.commands.completing import routes
from bellcrank.commands.declaring import (
    cancel,
    command,
    in_place_of_a_route,
    json_option,
    layout_file,
    scheduler,
    time_limit,
)
from bellcrank.commands.exit_statuses import OF_A_PROOF

DECLARED = command(
    "commands",
    examples=[
        'harbour-terminus.crank "W1 to T1"',
        'harbour-terminus.crank W1 to T1 --drives-now "P1 straight, S1 diverging"',
        "harbour-terminus.crank W1 to T1 --cancel",
        "harbour-terminus.crank --start-up",
        "harbour-terminus.crank --drive P1 straight",
    ],
    statuses=OF_A_PROOF,
    exclusive=[("cancel", "drives_now", "start_up", "all_to_stop", "drive", "signal", "output")],
    params=[
        layout_file,
        click.Argument(
            ["routes"],
            nargs=-1,
            metavar="[ROUTE...]",
            help="the route",
            shell_complete=routes,
        ),
        json_option,
        time_limit,
        scheduler,
        cancel,
        click.Option(
            ["--drives-now"],
            metavar="DRIVES",
            help="where drives lie now: those that lie right are left alone "
            "(default: not known, so all are thrown)",
        ),
        *in_place_of_a_route,
    ],
)
