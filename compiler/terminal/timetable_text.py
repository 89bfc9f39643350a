"""A timetable for the terminal. Colour only adds to what the words say."""

from __future__ import annotations

from collections.abc import Iterable

from rich import box
from rich.console import Group
from rich.table import Table
from rich.text import Text

from bellcrank.machine.commands import Command
from bellcrank.terminal.sheet import WIDTH
from bellcrank.timing.timetable_model import Timetable, Wait


def timetable_text(timetable: Timetable, width: int = WIDTH) -> Group:
    """What a timetable does, its commands with their times, and the total."""
    titles = {
        "start up": "start up: all signals to stop, all drives to their first position",
        "all to stop": "all to stop: all signals to stop, no drive is thrown",
    }
    title = titles.get(timetable.what, timetable.name)
    grid = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, width=width)
    grid.add_column("at ms", justify="right", min_width=8)
    grid.add_column("until ms", justify="right", min_width=8)
    grid.add_column("phase", min_width=15)
    grid.add_column("command", ratio=1, overflow="fold")
    for timed in timetable.commands:
        _add_waits(grid, timed.after)
        times = ("by hand", "") if timed.by_hand else (f"{timed.at}", f"{timed.until}")
        grid.add_row(*times, timed.command.phase, Text(command_words(timed.command)))
    _add_waits(grid, timetable.waits)
    return Group(Text(title, "bold"), "", grid, "", Text(_total(timetable)))


def _add_waits(grid: Table, waits: Iterable[Wait]) -> None:
    for wait in waits:
        grid.add_row("", "", Text("wait until", "bold"), Text(wait.sentence))


def command_words(command: Command) -> str:
    """A command in words: what goes where, over which output and how."""
    words = f"{command.name} {command.state}"
    details = []
    if command.decoder is not None:
        details.append(f"{command.decoder}.{command.output} {command.side_or_value}")
        details.append(f"output {command.number}")
    details += [
        f"also {lamp.decoder}.{lamp.output} {lamp.side}, output {lamp.number}"
        for lamp in command.lights
    ]
    if command.milliseconds is not None:
        details.append(f"{command.how} {command.milliseconds} ms")
    details += [f"{lamp.decoder}.{lamp.output} {lamp.side} off" for lamp in command.puts_out]
    if command.only_if_set:
        details.append(f"only while one of these is set: {', '.join(command.only_if_set)}")
    return f"{words}: {', '.join(details)}" if details else words


def _total(timetable: Timetable) -> str:
    beside = ""
    hand = any(t.by_hand for t in timetable.commands)
    waits = timetable.waits or any(t.after for t in timetable.commands)
    if hand or waits:
        what = [
            *(["what is waited for"] if waits else []),
            *(["what is done by hand"] if hand else []),
        ]
        beside = f", without {' and '.join(what)}"
    shortest = (
        "no timetable within the limits is shorter"
        if timetable.shortest
        else "a shorter timetable was neither found nor ruled out"
    )
    return f"total {timetable.total} ms{beside}\nlower bound {timetable.bound} ms: {shortest}"
