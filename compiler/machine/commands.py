"""The commands that set a route, in the order in which they are to be sent.

First the signals that could let a train onto the route's track go to stop,
then the drives are thrown, then the route's own signal is cleared. And those
that bring a layout to its normal position.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from bellcrank.layout.model import Layout, OutputRef, Position, Side
from bellcrank.machine.locking import Locking
from bellcrank.routes.model import Route, RouteTable
from bellcrank.routes.naming import by_start

Phase = Literal["signals to stop", "drives", "signals off"]
"""A signal is off when it shows anything but stop."""

How = Literal["coil", "motor", "servo", "output", "by hand"]
"""How a command is carried out: by a drive of a kind, by switching an output
(signals, and drives of which the layout says no more), or by hand."""


@dataclass(frozen=True, slots=True)
class Command:
    """One command. Without a decoder it is carried out by hand.

    route: empty for a command that brings the layout to its normal position.
    step: from 1, within the route.
    only_if_set: a signal to stop may be off for a route that can stand with this
        one; then the command is meant only while one of these routes is set.
        Empty for a command that is always meant.
    state: the position of a drive or the aspect of a signal.
    output: the output on its decoder, from 1.
    number: the output's number on the layout (its address).
    side: of the output; None where an extended packet carries a value instead.
    milliseconds: the pulse of a coil or the travel of a motor or servo.
    value: the value that shows an aspect on a decoder for extended packets.
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
    only_if_set: tuple[str, ...] = ()
    how: How = "by hand"
    value: int | None = None


@dataclass(frozen=True, slots=True)
class _Wire:
    ref: OutputRef | None = None
    side: Side | None = None
    milliseconds: int | None = None
    how: How = "by hand"
    value: int | None = None


def command_list(layout: Layout, table: RouteTable, locking: Locking) -> tuple[Command, ...]:
    """The commands of every route, in the order of the table."""
    against: dict[str, set[str]] = {name: set(table.conflicting[name]) for name in table.routes}
    perhaps: dict[str, set[str]] = defaultdict(set)
    for lock in locking.locks:
        for one, other in ((lock.first, lock.second), (lock.second, lock.first)):
            (perhaps[one] if lock.when else against[one]).add(other)
    needed: dict[str, dict[str, str]] = defaultdict(dict)
    for need in locking.needs:
        needed[need.route][need.drive] = need.position
    starting = by_start(table.routes.values())
    return tuple(
        c
        for name, route in table.routes.items()
        for c in _route_commands(
            route,
            layout,
            {
                signal: _only_if_set([r.name for r in routes], against[name], perhaps[name])
                for signal, routes in starting.items()
                if signal != route.start
            },
            needed[name],
        )
    )


def _only_if_set(routes: list[str], against: set[str], perhaps: set[str]) -> tuple[str, ...] | None:
    """What a signal is to be put to stop for, by the routes that start there.

    None if it need not be; empty if it always must, as no route from it may
    stand with the one to be set; else the routes that may not.
    """
    barred = tuple(r for r in routes if r in against or r in perhaps)
    if not barred:
        return None
    return () if against.issuperset(routes) else barred


def _route_commands(
    route: Route,
    layout: Layout,
    to_stop: Mapping[str, tuple[str, ...] | None],
    needed: Mapping[str, str],
) -> tuple[Command, ...]:
    """The commands that set one route.

    to_stop: for other signals, what `_only_if_set` says of them.
    needed: drives that rules need beside those that the route needs itself.
    """
    commands: list[Command] = []

    def add(
        phase: Phase,
        device: Literal["signal", "drive"],
        name: str,
        state: str,
        wire: _Wire,
        only_if_set: Iterable[str] = (),
    ) -> None:
        step = (route.name, len(commands) + 1)
        commands.append(_command(layout, step, phase, device, name, state, wire, only_if_set))

    for signal, only_if_set in {route.start: (), **to_stop}.items():
        if only_if_set is not None:
            stop = layout.signals[signal].aspects[0].name
            wire = _signal_wire(layout, signal, stop)
            add("signals to stop", "signal", signal, stop, wire, only_if_set)
    for drive, position in _in_order(layout, {**needed, **route.demands}):
        add("drives", "drive", drive, position, drive_wire(layout, drive, position))
    wire = _signal_wire(layout, route.start, route.aspect)
    add("signals off", "signal", route.start, route.aspect, wire)
    return tuple(commands)


def start_up_list(layout: Layout) -> tuple[Command, ...]:
    """The commands that bring a layout to its normal position, wherever drives lie: all
    signals to stop, then every drive to its first position."""
    commands: list[Command] = []
    for signal in layout.signals.values():
        stop = signal.aspects[0].name
        wire = _signal_wire(layout, signal.name, stop)
        step = ("", len(commands) + 1)
        commands.append(
            _command(layout, step, "signals to stop", "signal", signal.name, stop, wire)
        )
    for drive in layout.drives.values():
        first = drive.positions[0]
        wire = drive_wire(layout, drive.name, first)
        step = ("", len(commands) + 1)
        commands.append(_command(layout, step, "drives", "drive", drive.name, first, wire))
    return tuple(commands)


def throw_command(layout: Layout, drive: str, position: str) -> Command:
    """The command that throws one drive, for no route."""
    wire = drive_wire(layout, drive, position)
    return _command(layout, ("", 1), "drives", "drive", drive, position, wire)


def _command(
    layout: Layout,
    step: tuple[str, int],
    phase: Phase,
    device: Literal["signal", "drive"],
    name: str,
    state: str,
    wire: _Wire,
    only_if_set: Iterable[str] = (),
) -> Command:
    """A command over a wire. step: its route, and the step within it."""
    number = layout.hardware.number_of(wire.ref) if wire.ref else None
    return Command(
        *step,
        phase,
        device,
        name,
        state,
        wire.ref.decoder if wire.ref else None,
        wire.ref.number if wire.ref else None,
        number,
        wire.side,
        wire.milliseconds,
        tuple(only_if_set),
        wire.how,
        wire.value,
    )


def _in_order(layout: Layout, demands: Mapping[str, str]) -> list[Position]:
    """Drives in the order in which they are thrown.

    Of one fitting those first that go to their first position: the two blades
    of three way points must not both be over at once (common practice).
    """
    place: dict[str, int] = {}
    for drive in demands:
        place.setdefault(drive.split(".")[0], len(place))

    def key(position: Position) -> tuple[int, bool]:
        drive, where = position
        return place[drive.split(".")[0]], layout.drives[drive].positions[0] != where

    return sorted(demands.items(), key=key)


def _signal_wire(layout: Layout, signal: str, aspect: str) -> _Wire:
    for candidate in layout.signals[signal].aspects:
        if candidate.name == aspect:
            how: How = "output" if candidate.output else "by hand"
            return _Wire(candidate.output, candidate.side, None, how, candidate.value)
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
    side: Side = "red" if red else "green"
    how: How = wiring.action or "output"
    return _Wire(wiring.outputs[index // 2], side, wiring.milliseconds, how)
