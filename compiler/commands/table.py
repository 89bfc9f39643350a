"""The command `table`: the control table and the conflict matrix."""

from __future__ import annotations

from pathlib import Path

from bellcrank.commands.exit_statuses import status
from bellcrank.commands.reading_layout import check_layout
from bellcrank.commands.reports import count_warnings, report, show_errors, show_status
from bellcrank.compilation import Broken
from bellcrank.document.report_types import Tables
from bellcrank.document.route_data import conflict_data, route_data
from bellcrank.terminal.console import print_json, show, width
from bellcrank.terminal.tables import conflicting_routes, control_table


def table(file: Path, json: bool, time_limit: float | None, scheduler: str | None) -> int:
    """Run the command; returns the exit status."""
    c = check_layout(file, seconds=time_limit, scheduler=scheduler)
    if isinstance(c, Broken):
        return show_errors(c, json=json)
    if json:
        routes = [route_data(r, c.table) for r in c.table.routes.values()]
        conflicts = [conflict_data(*pair, c.table, c.layout) for pair in c.table.conflicts]
        print_json(report(c), Tables(routes=routes, conflicts=conflicts))
        return status(c)
    count_warnings(c, file)
    show(control_table(c.table, width()))
    show("")
    show(conflicting_routes(c.table, width()))
    show_status(c)
    return status(c)
