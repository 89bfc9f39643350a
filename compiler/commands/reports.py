"""What the commands tell of a layout, for people and as JSON."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, redirect_stdout
from pathlib import Path
from typing import TYPE_CHECKING

from rich.text import Text

from bellcrank.commands.exit_statuses import FAULTY
from bellcrank.compilation import Broken, Checked, Sound
from bellcrank.terminal.console import print_diagnostics, print_json, say, show
from bellcrank.terminal.outcome_words import STATUS
from bellcrank.terminal.sheet import count

if TYPE_CHECKING:  # the document is loaded only where JSON is asked for
    from bellcrank.document.part import Part
    from bellcrank.document.report_types import Report


def report(c: Broken | Checked) -> Report:
    """What every command tells as JSON of the layout it read."""
    from bellcrank.document.report_data import diagnostics_data
    from bellcrank.document.report_types import Report
    from bellcrank.document.verdict_data import moving_data, verdict_data

    # Without routes no solver was asked of anything that keeps trains apart.
    proved_of = None if isinstance(c, Broken) or c.outcome == "no routes" else c
    return Report(
        status="error" if isinstance(c, Broken) else c.outcome,
        diagnostics=diagnostics_data(c.diagnostics),
        verdict=None if proved_of is None else verdict_data(proved_of.standing),
        moving=None if proved_of is None else moving_data(proved_of.moving),
        controlled=(
            None
            if proved_of is None or proved_of.controlled is None
            else moving_data(proved_of.controlled)
        ),
    )


def show_errors(c: Broken, *more: Part, json: bool, in_a_line: bool = False) -> int:
    """Tell what is wrong with a layout, so that there is nothing to go on with; returns the
    exit status. more: what else the command tells as JSON. in_a_line: as for `print_json`."""
    if json:
        print_json(report(c), *more, in_a_line=in_a_line)
    else:
        print_diagnostics(c.diagnostics, c.program.texts)
    return FAULTY


def count_warnings(c: Sound, file: Path) -> None:
    """Say how many warnings there are and where to read them: only what is about the text itself
    tells them in full, so that they do not stand before all else each time."""
    number = len(c.diagnostics)
    if number:
        them = "it" if number == 1 else "them"
        say(f"{count(number, 'warning')}; `bellcrank check {file}` shows {them}")


def show_status(c: Checked) -> None:
    """Show whether the layout is proved."""
    show(Text.assemble("status: ", STATUS[c.status]))


@contextmanager
def told_at_the_end(parts: Callable[[], Iterable[Part]], *, json: bool) -> Iterator[None]:
    """With `--json`, all that is told and asked on the way goes to standard error, and what
    is known by then is printed as JSON at the end. parts: makes it."""
    if not json:
        yield
        return
    with redirect_stdout(sys.stderr):
        yield
    print_json(*parts())
    sys.stdout.flush()
