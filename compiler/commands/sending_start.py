"""How the commands begin that send to a layout: the layout with its proof, and the head of
their records."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Protocol

from bellcrank.commands.exit_statuses import STOPPED, status
from bellcrank.commands.reading_layout import check_layout
from bellcrank.commands.reports import count_warnings
from bellcrank.compilation import Broken, Checked
from bellcrank.terminal.console import print_diagnostics, say
from bellcrank.terminal.outcome_words import outcome_words
from bellcrank.version import NOTICE, __version__


class SendingOptions(Protocol):
    """What the commands that send have in common of what was asked for."""

    @property
    def file(self) -> Path: ...
    @property
    def although_unproved(self) -> bool: ...
    @property
    def time_limit(self) -> float | None: ...


def checked(options: SendingOptions) -> Broken | Checked:
    """The layout with its proof; what is wrong with it is told."""
    c = check_layout(options.file, seconds=options.time_limit)
    if isinstance(c, Broken):
        print_diagnostics(c.diagnostics, c.program.texts)
    else:
        count_warnings(c, options.file)
    return c


def refused(options: SendingOptions, c: Checked) -> int | None:
    """The exit status, with the reason told, if nothing may be sent to a layout."""
    if status(c) == STOPPED:
        return STOPPED
    if c.in_doubt and not options.although_unproved:
        say(
            f"the layout is {outcome_words(c)}, so nothing is sent: `bellcrank check` tells more "
            "(--although-unproved goes on all the same)"
        )
        return status(c)
    return None


def heading(c: Checked, what: str) -> Iterable[str]:
    """What stands at the head of each record."""
    return (
        f"bellcrank {__version__}: {what}",
        f"status: {c.status}",
        f"source: {', '.join(c.program.texts)}, sha256 {c.source_hash}",
        NOTICE,
    )
