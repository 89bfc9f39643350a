"""The commands that set a route, in the order in which they are to be sent.

First the signals that could let a train onto the route's track go to stop,
then the drives are thrown, then the route's own signal is cleared. And those
that bring a layout to its normal position.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from bellcrank.layout.lamp_order import goes_out
from bellcrank.layout.layout_model import Layout, OutputRef, Position, Side
from bellcrank.machine.lamps import Lamp, lamp_at, lamps_lit_beside, lamps_put_out
from bellcrank.machine.locking import Locking
from bellcrank.routes.panel_model import RouteLamp
from bellcrank.routes.route_model import Route, RouteTable
from bellcrank.routes.route_naming import by_start

Phase = Literal["signals to stop", "drives", "signals off", "outputs"]
"""A signal is off when it shows anything but stop. Outputs for other things are in no list of a
route."""

Device = Literal["signal", "drive", "frog", "output"]
"""What a command is sent to. A frog has its output, and is switched in the phase of the drives."""

How = Literal["coil", "motor", "servo", "output", "by hand"]
"""How a command is carried out: by a drive of a kind, by switching an output
(signals, frogs, other things, and drives of which the layout says no more), or by hand."""


@dataclass(frozen=True, slots=True)
class Command:
    """One command. Without a decoder it is carried out by hand.

    route: empty for a command that brings the layout to its normal position.
    step: from 1, within the route.
    only_if_set: a signal to stop may be off for a route that can stand with this
        one; then the command is meant only while one of these routes is set.
        Empty for a command that is always meant.
    state: the position of a drive, the aspect of a signal, or the leg that a frog takes its
        polarity from.
    output: the output on its decoder, from 1.
    number: the output's number on the layout (its address).
    side: of the output; None where an extended packet carries a value instead.
    milliseconds: the pulse of a coil or the travel of a motor or servo.
    value: the value that shows an aspect on a decoder for extended packets.
    held: whether what it switches on is to be switched off again when its time is over: a
        coil whose pulse the decoder does not end by itself.
    puts_out: the other lamps of the signal, except those that the decoder puts out by itself.
        They are switched off first: a signal is dark for a moment rather than show two aspects.
        Of a drive that is held on, likewise the sides of its other positions.
    lights: the lamps that are switched on after the first one and beside it, where an aspect
        lights several.
    """

    route: str
    step: int
    phase: Phase
    device: Device
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
    held: bool = False
    puts_out: tuple[Lamp, ...] = ()
    lights: tuple[Lamp, ...] = ()

    @property
    def called(self) -> str:
        """What it is sent to, in words: `drive P1`, `signal H`, `frog S1.end1`."""
        return self.name if self.device == "frog" else f"{self.device} {self.name}"

    @property
    def side_or_value(self) -> str:
        """Which side of the output it switches on, or which value it sends there, in words."""
        return f"value {self.value}" if self.side is None else self.side


@dataclass(frozen=True, slots=True)
class _Wire:
    ref: OutputRef | None = None
    side: Side | None = None
    milliseconds: int | None = None
    how: How = "by hand"
    value: int | None = None
    held: bool = False
    puts_out: tuple[Lamp, ...] = ()
    lights: tuple[Lamp, ...] = ()


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
    stops = {signal: _to_stop(layout, signal) for signal in starting}
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
            stops,
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
    stops: Mapping[str, _Deed],
) -> tuple[Command, ...]:
    """The commands that set one route.

    to_stop: for other signals, what `_only_if_set` says of them.
    needed: drives that rules need beside those that the route needs itself.
    stops: what puts each signal to stop, whatever for.
    """
    signals = {route.start: (), **to_stop}
    return _numbered(
        layout,
        route.name,
        [
            *(
                replace(stops[s], only_if_set=only) if only else stops[s]
                for s, only in signals.items()
                if only is not None
            ),
            *(_throw(layout, *where) for where in _in_order(layout, {**needed, **route.demands})),
            _show(layout, "signals off", route.start, route.aspect),
        ],
    )


def start_up_list(layout: Layout) -> tuple[Command, ...]:
    """The commands that bring a layout to its normal position, wherever drives lie: all
    signals to stop, then every drive to its first position."""
    return _numbered(
        layout,
        "",
        [
            *(_to_stop(layout, signal) for signal in layout.signals),
            *(_throw(layout, d.name, d.positions[0]) for d in layout.drives.values()),
        ],
    )


def all_to_stop_list(layout: Layout) -> tuple[Command, ...]:
    """The commands that put all signals to stop, and throw nothing."""
    return _numbered(layout, "", [_to_stop(layout, signal) for signal in layout.signals])


def show_list(layout: Layout, signal: str, aspect: str) -> tuple[Command, ...]:
    """The commands that have one signal show an aspect, for no route. It goes to stop first, so
    that it can be put back there if all is broken off."""
    stop = _to_stop(layout, signal)
    off = [] if aspect == stop.state else [_show(layout, "signals off", signal, aspect)]
    return _numbered(layout, "", [stop, *off])


def throw_command(layout: Layout, drive: str, position: str) -> Command:
    """The command that throws one drive, for no route."""
    return _command(layout, "", 1, _throw(layout, drive, position))


def switch_command(layout: Layout, output: str, state: str) -> Command:
    """The command that brings an output with a name of its own into a state, for no route.

    Raises KeyError if there is no such output or state.
    """
    named = layout.hardware.outputs[output]
    side = named.states[state]
    how: How = named.action or "output"
    kind = layout.hardware.decoders[named.output.decoder].kind
    held = how == "coil" and kind.pulses == "held"
    off = tuple(sides_of_output_put_out(layout, output, state))
    wire = _Wire(named.output, side, named.milliseconds, how, held=held, puts_out=off)
    return _command(layout, "", 1, _Deed("outputs", "output", output, state, wire))


def lamp_command(layout: Layout, lamp: RouteLamp) -> Command:
    """The command that lights the lamp of a route on the panel. It is held: it goes out by
    switching off what this switches on."""
    wire = _Wire(lamp.output, lamp.side, None, "output", held=True)
    return _command(layout, "", 1, _Deed("outputs", "output", lamp.route, "lit", wire))


@dataclass(frozen=True, slots=True)
class _Deed:
    """What is done over which wire, before it has its number in a list."""

    phase: Phase
    device: Device
    name: str
    state: str
    wire: _Wire
    only_if_set: tuple[str, ...] = ()


def _to_stop(layout: Layout, signal: str) -> _Deed:
    return _show(layout, "signals to stop", signal, layout.signals[signal].aspects[0].name)


def _show(layout: Layout, phase: Phase, signal: str, aspect: str) -> _Deed:
    return _Deed(phase, "signal", signal, aspect, _signal_wire(layout, signal, aspect))


def _throw(layout: Layout, drive: str, position: str) -> _Deed:
    device: Device = "drive" if layout.drives[drive].frog is None else "frog"
    return _Deed("drives", device, drive, position, drive_wire(layout, drive, position))


def _numbered(layout: Layout, route: str, deeds: Iterable[_Deed]) -> tuple[Command, ...]:
    """The commands of a route, or of none, in their order. None is for a signal that is only
    thought of: nothing stands there to be worked."""
    done = (d for d in deeds if not (d.device == "signal" and layout.signals[d.name].imagined))
    return tuple(_command(layout, route, step, deed) for step, deed in enumerate(done, start=1))


def _command(layout: Layout, route: str, step: int, deed: _Deed) -> Command:
    wire = deed.wire
    return Command(
        route,
        step,
        deed.phase,
        deed.device,
        deed.name,
        deed.state,
        wire.ref.decoder if wire.ref else None,
        wire.ref.number if wire.ref else None,
        layout.hardware.number_of(wire.ref) if wire.ref else None,
        wire.side,
        wire.milliseconds,
        deed.only_if_set,
        wire.how,
        wire.value,
        wire.held,
        wire.puts_out,
        wire.lights,
    )


def _in_order(layout: Layout, demands: Mapping[str, str]) -> list[Position]:
    """Drives in the order in which they are thrown.

    Of one fitting those first that go to their first position: the two blades
    of three way points must not both be over at once (common practice).
    """
    fitting = {drive: layout.drives[drive].works[0].element for drive in demands}
    place: dict[str, int] = {}
    for element in fitting.values():
        place.setdefault(element, len(place))

    def key(position: Position) -> tuple[int, bool]:
        drive, where = position
        return place[fitting[drive]], layout.drives[drive].positions[0] != where

    return sorted(demands.items(), key=key)


def _signal_wire(layout: Layout, signal: str, aspect: str) -> _Wire:
    for candidate in layout.signals[signal].aspects:
        if candidate.name == aspect:
            how: How = "output" if candidate.output else "by hand"
            return _Wire(
                candidate.output,
                candidate.side,
                None,
                how,
                candidate.value,
                puts_out=tuple(lamps_put_out(layout, signal, aspect)),
                lights=tuple(lamps_lit_beside(layout, signal, aspect)),
            )
    return _Wire()


def drive_wire(layout: Layout, drive: str, position: str) -> _Wire:
    """The output side, or the value, that throws a drive to a position."""
    wiring = layout.hardware.wirings.get(drive)
    if wiring is None or not wiring.outputs:
        return _Wire()
    output, side, value = wiring.place(layout.drives[drive].positions.index(position))
    how: How = wiring.action or "output"
    kind = layout.hardware.decoders[output.decoder].kind
    held = how == "coil" and kind.pulses == "held"
    off = tuple(sides_put_out(layout, drive, position))
    return _Wire(output, side, wiring.milliseconds, how, value, held, off)


def sides_put_out(layout: Layout, drive: str, thrown: str) -> Iterator[Lamp]:
    """The sides to switch off where a drive is thrown that is held on in each of its positions, as
    what switches a frog is: those of its other positions, except those that the decoder switches
    off by itself."""
    wiring = layout.hardware.wirings.get(drive)
    if wiring is None or not (wiring.held_on or layout.drives[drive].frog):
        return
    positions = layout.drives[drive].positions
    on = wiring.place(positions.index(thrown))
    for index, position in enumerate(positions):
        other = wiring.place(index)
        if position == thrown or other.side is None:
            continue
        rule = layout.hardware.decoders[on.output.decoder].kind.lamps
        if not goes_out(rule, on.output, other.output):
            yield lamp_at(layout, other.output, other.side)


def sides_of_output_put_out(layout: Layout, output: str, state: str) -> Iterator[Lamp]:
    """The side of an output for something else that is to be switched off where it is brought into
    a state: the one of its other state, if it stays on and the decoder does not switch it off."""
    named = layout.hardware.outputs[output]
    rule = layout.hardware.decoders[named.output.decoder].kind.lamps
    if named.action is not None or goes_out(rule, named.output, named.output):
        return
    for other, side in named.states.items():
        if other != state:
            yield lamp_at(layout, named.output, side)
