"""The command `table`: the control table and the conflict matrix."""

from __future__ import annotations

import argparse
from typing import Any

from bellcrank.commands.proving import compile_layout, layout_command, report, show_status, status
from bellcrank.document.report_types import Tables
from bellcrank.document.route_data import conflict_data, route_data
from bellcrank.proof.moving.moving_proof import Effort
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
    c = compile_layout(options, Effort())
    if options.json:
        tables = []
        if c.table and c.layout:
            routes = [route_data(r, c.table) for r in c.table.routes.values()]
            conflicts = [conflict_data(*pair, c.table, c.layout) for pair in c.table.conflicts]
            tables = [Tables(routes=routes, conflicts=conflicts)]
        print_json(report(c), *tables)
        return status(c)
    print_diagnostics(c.diagnostics, c.program.texts)
    if c.verdict and c.table:
        show(control_table(c.table, width()))
        show("")
        show(conflict_matrix(c.table, width()))
        show_status(c)
    return status(c)
