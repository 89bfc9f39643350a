"""What the commands tell of a layout, for people and as JSON."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, redirect_stdout
from typing import Any

from rich.text import Text

from bellcrank.commands.exit_statuses import FAULTY
from bellcrank.compilation import Broken, Checked
from bellcrank.diagnostics import as_json
from bellcrank.document.verdict_data import moving_data, verdict_data
from bellcrank.terminal.console import print_diagnostics, print_json, show


def report(c: Broken | Checked) -> dict[str, Any]:
    """What every command tells as JSON of the layout it read."""
    return {
        "status": "error" if isinstance(c, Broken) else c.outcome,
        "diagnostics": [as_json(d) for d in c.diagnostics],
        "verdict": None if isinstance(c, Broken) else verdict_data(c.standing),
        "moving": None if isinstance(c, Broken) else moving_data(c.moving),
    }


def show_errors(c: Broken, *, json: bool, **more: Any) -> int:
    """Tell what is wrong with a layout, so that there is nothing to go on with; returns the
    exit status. more: what else the command tells as JSON."""
    if json:
        print_json({**report(c), **more})
    else:
        print_diagnostics(c.diagnostics, c.program.texts)
    return FAULTY


def show_status(c: Checked) -> None:
    """Show whether the layout is proved."""
    word = ("proved", "green") if c.proved else ("UNPROVED", "bold red")
    show(Text.assemble("status: ", word))


@contextmanager
def told_at_the_end(told: Mapping[str, Any], *, json: bool) -> Iterator[None]:
    """With `--json`, all that is told and asked on the way goes to standard error, and what
    has been put into `told` meanwhile is printed as JSON at the end."""
    if not json:
        yield
        return
    with redirect_stdout(sys.stderr):
        yield
    print_json(dict(told))
    sys.stdout.flush()
