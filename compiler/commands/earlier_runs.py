"""What a log says of earlier runs, told and asked about before commands are sent."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from rich.text import Text

from bellcrank.commands.asking import yes_or_no
from bellcrank.routes.sentences import listed
from bellcrank.sending.log_file import LogFile
from bellcrank.sending.log_rows import Entry
from bellcrank.sending.sent_before import Thrown, thrown_before
from bellcrank.sending.set_before import SetBefore
from bellcrank.terminal.console import say, show

_MANY = 5
"""Damaged lines of a log that are told of one by one."""


def thrown_by(file: LogFile | None, path: Path | None) -> tuple[Thrown, ...]:
    """What a log says was thrown before. Raises LogError."""
    now = datetime.now().astimezone()
    return thrown_before(entries_of(file, path, now), now)


def entries_of(file: LogFile | None, path: Path | None, now: datetime) -> tuple[Entry, ...]:
    """What a log says; which lines cannot be read is told. Raises LogError.

    now: a time that knows its zone.
    """
    if file is None:
        return ()
    found = file.read(now)
    if found.damaged:
        numbers = listed(str(number) for number in found.damaged[:_MANY])
        more = " and more" if len(found.damaged) > _MANY else ""
        say(
            f"{path}: {'line' if len(found.damaged) == 1 else 'lines'} {numbers}{more} cannot be "
            "read; if a throw stood there, its rest is for you to see to"
        )
    return found.entries


def nothing_stands_against(found: Sequence[SetBefore], path: Path | None) -> bool:
    """Whether somebody says that the routes are over which a log shows against this one."""
    for earlier in found:
        when = earlier.time.astimezone().strftime("%Y-%m-%d %H:%M:%S")
        show(
            Text(
                f"{path} shows that {earlier.route} was set at {when} and not cancelled since; it "
                "conflicts with this route."
            )
        )
    names = listed(earlier.route for earlier in found)
    over = (
        "is it over: its signal at stop, its train"
        if len(found) == 1
        else ("are they over: their signals at stop, their trains")
    )
    return yes_or_no(f"{names}: {over} out of the way?")
