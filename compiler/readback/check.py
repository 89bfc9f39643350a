"""Playing a command file against what was proved."""

from __future__ import annotations

from bellcrank.layout.model import Layout
from bellcrank.machine.model import Machine
from bellcrank.readback.bench import Bench, NothingThereError
from bellcrank.readback.expected import expected
from bellcrank.readback.readers import Files, Lists, NotReadError, read
from bellcrank.routes.model import RouteTable


def read_back(
    reader: str, files: Files, layout: Layout, table: RouteTable, machine: Machine
) -> tuple[str, ...]:
    """What the files of a target would do otherwise than was proved, in sentences;
    nothing where all is well.

    Each list is played on a bench of its own, from positions that nobody knows. After
    it each drive that the route needs must lie as the machine demands before the
    signal clears, the route's signal must show its aspect, and signals from which
    nothing may be set beside it must be at stop.
    """
    try:
        lists = read(reader, files)
    except NotReadError as error:
        return (str(error),)
    wrong: list[str] = []
    routes = set(table.routes)
    wrong += [f"there is a list for {name}, which is no route" for name in lists.keys() - routes]
    for what in expected(layout, table, machine):
        if what.route not in lists:
            wrong.append(f"there is no list for {what.route}")
            continue
        bench = Bench(layout)
        wrong += _played(bench, lists, what.route)
        for drive, position in what.lies.items():
            if bench.lies[drive] != position:
                wrong.append(
                    f"after the list for {what.route} {drive} {_lies(bench.lies[drive])}, "
                    f"not {position}"
                )
        for signal, aspect in what.shows.items():
            if bench.shows[signal] != aspect:
                shown = bench.shows[signal]
                wrong.append(
                    f"after the list for {what.route} {signal} shows "
                    f"{shown or 'what it showed before'}, not {aspect}"
                )
    return tuple(wrong)


def _played(bench: Bench, lists: Lists, route: str) -> list[str]:
    wrong = []
    for act in lists[route]:
        try:
            act.play(bench)
        except NothingThereError as error:
            wrong.append(f"in the list for {route}: {error}")
    return wrong


def _lies(position: str | None) -> str:
    return f"lies {position}" if position is not None else "lies as it did before"
