"""The commands that set a route, in the order in which they are to be sent.

First the signals that could let a train onto the route's track go to stop,
then the drives are thrown, then the route's own signal is cleared.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from bellcrank.layout.model import Layout, OutputRef, Side
from bellcrank.machine.locking import Locking
from bellcrank.routes.model import Route, RouteTable

Phase = Literal["signals to stop", "drives", "signals off"]


@dataclass(frozen=True, slots=True)
class Command:
    """One command. Without a decoder it is carried out by hand.

    step: from 1, within the route.
    because_of: for a signal to stop, the routes that start there and must not be
        set with this one; empty for the route's own signal and for drives.
    state: the position of a drive or the aspect of a signal.
    output: the output on its decoder, from 1.
    number: the output's number on the layout (its address).
    milliseconds: the pulse of a coil or the travel of a motor or servo.
    """

    route: str
    step: int
    phase: Phase
    device: Literal["signal", "drive"]
    name: str
    state: str
    decoder: str | None
    output: int | None
    number: int | None
    side: Side | None
    milliseconds: int | None
    because_of: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Wire:
    ref: OutputRef | None = None
    side: Side | None = None
    milliseconds: int | None = None


def command_list(layout: Layout, table: RouteTable, locking: Locking) -> tuple[Command, ...]:
    """The commands of every route, in the order of the table."""
    locked: dict[str, list[str]] = defaultdict(list)
    for lock in locking.locks:
        locked[lock.first].append(lock.second)
        locked[lock.second].append(lock.first)
    needed: dict[str, dict[str, str]] = defaultdict(dict)
    for need in locking.needs:
        needed[need.route][need.drive] = need.position
    return tuple(
        c
        for name, route in table.routes.items()
        for c in route_commands(
            route, layout, table, (*table.conflicting[name], *locked[name]), needed[name]
        )
    )


def route_commands(
    route: Route,
    layout: Layout,
    table: RouteTable,
    against: Iterable[str],
    needed: Mapping[str, str],
) -> tuple[Command, ...]:
    """The commands that set one route.

    against: the routes that must not be set with it.
    needed: drives that rules need beside those that the route needs itself.
    """
    commands: list[Command] = []

    def add(
        phase: Phase,
        device: Literal["signal", "drive"],
        name: str,
        state: str,
        wire: _Wire,
        because_of: Iterable[str] = (),
    ) -> None:
        number = None
        if wire.ref is not None:
            number = layout.hardware.decoders[wire.ref.decoder].address + wire.ref.number - 1
        commands.append(
            Command(
                route.name,
                len(commands) + 1,
                phase,
                device,
                name,
                state,
                wire.ref.decoder if wire.ref else None,
                wire.ref.number if wire.ref else None,
                number,
                wire.side,
                wire.milliseconds,
                tuple(because_of),
            )
        )

    starting: dict[str, dict[str, None]] = {route.start: {}}
    for name in against:
        starting.setdefault(table.routes[name].start, {})[name] = None
    starting[route.start] = {}
    for signal, because_of in starting.items():
        stop = layout.signals[signal].aspects[0].name
        wire = _signal_wire(layout, signal, stop)
        add("signals to stop", "signal", signal, stop, wire, because_of)
    for drive, position in {**needed, **route.demands}.items():
        add("drives", "drive", drive, position, drive_wire(layout, drive, position))
    wire = _signal_wire(layout, route.start, route.aspect)
    add("signals off", "signal", route.start, route.aspect, wire)
    return tuple(commands)


def _signal_wire(layout: Layout, signal: str, aspect: str) -> _Wire:
    for candidate in layout.signals[signal].aspects:
        if candidate.name == aspect:
            return _Wire(candidate.output, candidate.side)
    return _Wire()


def drive_wire(layout: Layout, drive: str, position: str) -> _Wire:
    """The output side that throws a drive to a position.

    Positions come two to an output, in their order: the first on the green
    side, the second on the red; crossed wiring swaps the sides.
    """
    wiring = layout.hardware.wirings.get(drive)
    if wiring is None or not wiring.outputs:
        return _Wire()
    index = layout.drives[drive].positions.index(position)
    red = bool(index % 2) != wiring.crossed
    return _Wire(wiring.outputs[index // 2], "red" if red else "green", wiring.milliseconds)
