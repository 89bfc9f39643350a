"""The command `commands`: what is sent, and when, to set or cancel a route or to start up."""

from __future__ import annotations

import argparse
from typing import Any

from rich.text import Text

from bellcrank.commands.proving import (
    FAULTY,
    compile_layout,
    fail,
    layout_command,
    report,
    routes_asked_for,
    show_report,
    show_status,
    status,
)
from bellcrank.document.command_data import timetable_data
from bellcrank.document.report_types import TimetableTold
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.terminal.console import print_diagnostics, print_json, show, width
from bellcrank.terminal.timetable_text import timetable_text
from bellcrank.timing.drives_now import LyingError, read_lying
from bellcrank.timing.lists import to_cancel, to_set, to_start_up
from bellcrank.version import NOTICE


def add_commands(commands: Any) -> None:
    """Add the command to those of the command line."""
    parser = layout_command(
        commands,
        "commands",
        "show what is sent, and when, to set or cancel a route or to start up",
        'bellcrank commands harbour-terminus.crank "W1 to T1"\n'
        'bellcrank commands harbour-terminus.crank W1 to T1 --lying "P1 straight, S1 diverging"\n'
        "bellcrank commands harbour-terminus.crank W1 to T1 --cancel\n"
        "bellcrank commands harbour-terminus.crank --start-up",
    )
    route = parser.add_argument("routes", nargs="+", metavar="ROUTE", help="the route")

    class StartUp(argparse.Action):
        """Asks for the start-up, for which no route is named."""

        def __call__(self, parser: Any, namespace: Any, values: Any, option: Any = None) -> None:
            route.required = False
            namespace.start_up = True

    which = parser.add_mutually_exclusive_group()
    which.add_argument("--cancel", action="store_true", help="cancel the route")
    which.add_argument(
        "--lying",
        metavar="DRIVES",
        help="where drives lie at present: those that lie right are left alone "
        "(default: not known, so all are thrown)",
    )
    which.add_argument(
        "--start-up",
        action=StartUp,
        nargs=0,
        default=False,
        help="in place of a route: all signals to stop, all drives to their first position",
    )
    parser.set_defaults(run=show_commands)


def show_commands(options: argparse.Namespace) -> int:
    """Run the command; returns the exit status."""
    if options.start_up and options.routes:
        return fail("--start-up is for the whole layout: name no route with it")
    c = compile_layout(options, Effort())
    if c.table is None or c.layout is None or c.locking is None or c.verdict is None:
        show_report(options, c)
        return FAULTY
    known = (c.layout, c.table, c.locking)
    if options.start_up:
        timetable = to_start_up(*known)
    else:
        routes = routes_asked_for(options, c.table)
        if routes is None:
            return FAULTY
        if len(routes) != 1:
            text = " ".join(options.routes)
            return fail(f"`{text}` names two routes; their commands are told one by one")
        try:
            lying = None if options.lying is None else read_lying(options.lying, c.layout)
        except LyingError as error:
            return fail(f"--lying: {error}")
        if options.cancel:
            timetable = to_cancel(*known, routes[0].name)
        else:
            timetable = to_set(*known, routes[0].name, lying)
    if options.json:
        print_json(report(c), TimetableTold(timetable_data(timetable, c.layout), NOTICE))
        return status(c)
    print_diagnostics(c.diagnostics, c.program.texts)
    show(timetable_text(timetable, width()))
    show_status(c)
    show(Text(NOTICE))
    return status(c)
