"""The command `table`: the control table and the conflict matrix."""

from __future__ import annotations

import argparse
from typing import Any

from bellcrank.commands.proving import (
    check_layout,
    layout_command,
    report,
    show_errors,
    show_status,
    status,
)
from bellcrank.compilation import Broken
from bellcrank.document.route_data import conflict_data, route_data
from bellcrank.terminal.console import print_diagnostics, print_json, show, width
from bellcrank.terminal.tables import conflict_matrix, control_table


def add_table(commands: Any) -> None:
    """Add the command to those of the command line."""
    parser = layout_command(
        commands,
        "table",
        "show the control table and the conflict matrix",
        "bellcrank table harbour-terminus.crank",
    )
    parser.set_defaults(run=table)


def table(options: argparse.Namespace) -> int:
    """Run the command; returns the exit status."""
    c = check_layout(options.file, seconds=options.time_limit)
    if isinstance(c, Broken):
        return show_errors(c, as_json=options.json)
    if options.json:
        routes = [route_data(r, c.table) for r in c.table.routes.values()]
        conflicts = [conflict_data(*pair, c.table, c.layout) for pair in c.table.conflicts]
        print_json({**report(c), "routes": routes, "conflicts": conflicts})
        return status(c)
    print_diagnostics(c.diagnostics, c.program.texts)
    show(control_table(c.table, width()))
    show("")
    show(conflict_matrix(c.table, width()))
    show_status(c)
    return status(c)
