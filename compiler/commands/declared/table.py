"""The words of the command `table`."""

from __future__ import annotations

from bellcrank.commands.declaring import command, json_option, layout_file, scheduler, time_limit
from bellcrank.commands.exit_statuses import OF_A_PROOF

DECLARED = command(
    "table",
    examples=["harbour-terminus.crank"],
    statuses=OF_A_PROOF,
    params=[
        layout_file,
        json_option,
        time_limit,
        scheduler,
    ],
)
