"""Playing a command file against what was proved."""

from __future__ import annotations

from collections.abc import Iterator

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.machine_model import Machine
from bellcrank.readback.bench import Bench, NothingThereError, Shown
from bellcrank.readback.expected import Expected, expected, expected_beside
from bellcrank.readback.readers import Act, Files, Key, Lists, NotReadError, read
from bellcrank.routes.route_model import RouteTable


def read_back(
    reader: str, files: Files, layout: Layout, table: RouteTable, machine: Machine
) -> tuple[str, ...]:
    """What the files of a target would do otherwise than was proved, in sentences;
    nothing where all is well. See `differences`."""
    try:
        lists = read(reader, files)
    except NotReadError as error:
        return (str(error),)
    return differences(lists, layout, table, machine)


def differences(
    lists: Lists, layout: Layout, table: RouteTable, machine: Machine
) -> tuple[str, ...]:
    """What lists of commands would do otherwise than was proved, in sentences.

    Each list is played on a simulated bench, from positions that nobody knows. After
    the one that sets a route each drive that the route needs must lie as the machine
    demands before the signal clears, the route's signal must show its aspect, and signals
    from which nothing may be set beside it must be at stop. After the one that cancels it
    its signal must be at stop, and no drive may have been thrown. After the start-up all
    signals must be at stop and all drives lie in their first position. A target that has
    lists of the last two sorts must have all of them.
    """
    wrong: list[str] = []
    wrong += [
        f"there is a list for {key.route}, which is not a route"
        for key in lists
        if key.what != "start up" and key.route not in table.routes
    ]
    wanted = list(expected(layout, table, machine))
    if any(key.what != "set" for key in lists):
        wanted += expected_beside(layout, table, machine)
    bench = Bench(layout)
    for what in wanted:
        # Where nothing has to lie or be shown, as at a signal that is only thought of, a list
        # that is not there does all of it.
        if what.of not in lists and (what.lies or what.shows):
            wrong.append(f"there is no {_named(what.of)}")
        for acts in lists.get(what.of, []):
            wrong += _complaints(bench, acts, what, layout)
    return tuple(wrong)


def _complaints(bench: Bench, acts: list[Act], what: Expected, layout: Layout) -> Iterator[str]:
    """What a list does wrong, played on a bench of which nothing is known."""
    bench.forget()
    name = _named(what.of)
    for act in acts:
        try:
            act.play(bench)
        except NothingThereError as error:
            yield f"in the {name}: {error}"
    for drive, position in what.lies.items():
        if bench.lies[drive] != position:
            yield f"after the {name} {drive} {_lies(bench.lies[drive])}, not {position}"
    for signal, aspect in what.shows.items():
        shown = bench.shown(signal)
        if shown != Shown((aspect,)):
            before = "what it showed before"
            yield f"after the {name} {signal} shows {shown or before}, not {aspect}"
    for drive in sorted(bench.coils_on):
        yield f"after the {name} a coil of {drive} is still on"
    if what.alone:
        for drive, lies in bench.lies.items():
            if lies is not None and drive not in what.lies:
                yield f"the {name} throws {drive}, which must be left alone"
        for signal in layout.signals:
            stop = layout.signals[signal].aspects[0].name
            shown = bench.shown(signal)
            if shown not in (None, Shown((stop,))) and signal not in what.shows:
                yield f"after the {name} {signal} shows {shown}, not {stop}"


def _named(key: Key) -> str:
    match key.what:
        case "set":
            return f"list for {key.route}"
        case "cancel":
            return f"list that cancels {key.route}"
        case "start up":
            return "list of the start-up"


def _lies(position: str | None) -> str:
    return f"lies {position}" if position is not None else "lies as it did before"
