"""The command `commands`: what is sent, and when, to set or cancel a route or to start up."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from rich.text import Text

from bellcrank.commands.exit_statuses import FAULTY, fail, status
from bellcrank.commands.reading_layout import check_layout
from bellcrank.commands.reports import count_warnings, report, show_errors, show_status
from bellcrank.commands.route_words import routes_asked_for
from bellcrank.commands.routeless import (
    ALONE,
    RoutelessError,
    asked_in_place_of_a_route,
    contradiction,
    without_route,
)
from bellcrank.compilation import Broken
from bellcrank.document.command_data import timetable_data
from bellcrank.document.report_types import TimetableTold
from bellcrank.terminal.console import print_json, show, width
from bellcrank.terminal.timetable_text import timetable_text
from bellcrank.timing.drives_now import DrivesNowError, read_drives_now
from bellcrank.timing.lists import to_cancel, to_set
from bellcrank.version import NOTICE


@dataclass(frozen=True, slots=True)
class InPlaceOfRoute:
    """What the command line asks for in place of a route."""

    start_up: bool
    all_to_stop: bool
    drive: tuple[str, str] | None
    signal: tuple[str, str] | None
    output: tuple[str, str] | None


def show_timetable(
    file: Path,
    routes: tuple[str, ...],
    json: bool,
    time_limit: float | None,
    scheduler: str | None,
    cancel: bool,
    drives_now: str | None,
    start_up: bool,
    all_to_stop: bool,
    drive: tuple[str, str] | None,
    signal: tuple[str, str] | None,
    output: tuple[str, str] | None,
) -> int:
    """Run the command; returns the exit status."""
    options = InPlaceOfRoute(start_up, all_to_stop, drive, signal, output)
    if said := contradiction(options, with_route=bool(routes)):
        return fail(said)
    if not asked_in_place_of_a_route(options) and not routes:
        return fail("ROUTE is missing: name a route, such as `W1 to T1`, or give --start-up")
    c = check_layout(file, seconds=time_limit, scheduler=scheduler)
    if isinstance(c, Broken):
        return show_errors(c, json=json)
    known = (c.layout, c.table, c.locking)
    try:
        routeless = without_route(options, c)
    except RoutelessError as error:
        return fail(str(error))
    if routeless is not None:
        timetable = routeless
    else:
        found = routes_asked_for(routes, c.table, json=json)
        if found is None:
            return FAULTY
        if len(found) != 1:
            text = " ".join(routes)
            return fail(f"`{text}` names two routes; their commands are told one by one")
        try:
            now = None if drives_now is None else read_drives_now(drives_now, c.layout)
        except DrivesNowError as error:
            return fail(f"--drives-now: {error}")
        if cancel:
            timetable = to_cancel(*known, found[0].name)
        else:
            timetable = to_set(*known, found[0].name, now)
    if json:
        print_json(report(c), TimetableTold(timetable_data(timetable, c.layout), NOTICE))
        return status(c)
    count_warnings(c, file)
    show(timetable_text(timetable, width()))
    if options.drive or options.signal or options.output:
        show(Text(ALONE))
    show_status(c)
    show(Text(NOTICE))
    return status(c)
