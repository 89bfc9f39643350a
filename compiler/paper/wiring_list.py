"""What is joined to what on the bench: by decoder, by drive, by signal and by lamp.

Only what the layout says, in its own names. Where it says nothing there is None, and
whoever prints it leaves a blank to fill in.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from msgspec import structs

from bellcrank.document.document_types import Document
from bellcrank.document.hardware_types import Decoder, Terminals
from bellcrank.document.layout_types import Action, Aspect, Side, WiredPosition

Terminal = Side | Literal["common", "all"]
"""What of an output a wire is joined to; `all` is a plug with all its wires."""


WiredDevice = Literal["drive", "frog", "signal", "lamp", "output"]
"""What outputs are for; a lamp is one of the panel, by its route; an output is for something that
no route needs."""


@dataclass(frozen=True, slots=True)
class WiredState:
    """A state of a drive or signal: what brings it about, and by which wire."""

    state: str
    decoder: str | None
    output: int | None
    number: int | None
    side: Side | None
    value: int | None
    wire: str | None


@dataclass(frozen=True, slots=True)
class Device:
    """A drive, a signal or a lamp with its states.

    common: the name of the wire that its states share, if the layout gives it.
    held_on: whether it is a motor that is driven both ways and held on.
    """

    device: WiredDevice
    name: str
    action: Action | None
    milliseconds: int | None
    crossed: bool
    held_on: bool
    common: str | None
    states: tuple[WiredState, ...]


@dataclass(frozen=True, slots=True)
class Use(Device):
    """A device as one output has to do with it. does: the states that it brings about."""

    does: tuple[WiredState, ...]


@dataclass(frozen=True, slots=True)
class Row:
    """A terminal of an output and what is joined to it."""

    device: WiredDevice
    name: str
    action: Action | None
    crossed: bool
    side: Terminal
    terminal: str | None
    wire: str | None
    does: tuple[WiredState, ...]


@dataclass(frozen=True, slots=True)
class PlacedRow(Row):
    """A row with the output that it belongs to."""

    decoder: str
    output: int
    number: int


@dataclass(frozen=True, slots=True)
class Output:
    """An output of a decoder. uses: nothing where it is free."""

    output: int
    number: int
    uses: tuple[Use, ...]
    rows: tuple[Row, ...]


class DecoderOutputs(Decoder):
    """A decoder with its outputs in order. last: the number of the last of them. used: how
    many of them are."""

    last: int
    used: int
    list: Sequence[Output]


@dataclass(frozen=True, slots=True)
class DeviceWires(Device):
    """A drive, frog or signal with the rows of all its outputs."""

    rows: tuple[PlacedRow, ...]


SIDES: tuple[Side, ...] = ("green", "red")


def decoder_outputs(document: Document) -> list[DecoderOutputs]:
    """Each decoder with its outputs in order, and what each side or value of them does."""
    uses = _uses(document)
    return [_outputs(decoder, uses) for decoder in document.hardware.decoders]


Uses = dict[tuple[str, int], list[Use]]
"""What outputs are for, by the decoder's name and the number on it."""


def _outputs(decoder: Decoder, uses: Uses) -> DecoderOutputs:
    outputs = []
    for n, terminals in enumerate(decoder.terminals, start=1):
        of_it = tuple(uses[decoder.name, n])
        outputs.append(Output(n, decoder.address + n - 1, of_it, _rows(of_it, terminals)))
    return DecoderOutputs(
        **structs.asdict(decoder),
        last=decoder.address + decoder.outputs - 1,
        used=sum(bool(output.uses) for output in outputs),
        list=outputs,
    )


def _uses(document: Document) -> Uses:
    does: dict[tuple[str, int], dict[Device, list[WiredState]]] = defaultdict(dict)
    for device in devices(document):
        for state in device.states:
            if state.decoder is not None and state.output is not None:
                of_it = does[state.decoder, state.output]
                of_it.setdefault(device, []).append(state)
    found: Uses = defaultdict(list)
    for output, states_of in does.items():
        found[output] = [_use(device, states) for device, states in states_of.items()]
    return found


def _use(device: Device, does: Iterable[WiredState]) -> Use:
    return Use(
        device.device,
        device.name,
        device.action,
        device.milliseconds,
        device.crossed,
        device.held_on,
        device.common,
        device.states,
        tuple(does),
    )


def devices(document: Document) -> list[Device]:
    """Drives with the frogs on outputs, signals and then lamps, with each of their states: where
    it is wired, and by which wire.

    A wire belongs to the position that it throws the drive to, so with crossed wiring it
    is joined to the terminal of the other side: that one is in `side` already.
    """
    found = []
    for drive in document.layout.drives:
        wires: Sequence[str | None] = drive.wires or [None] * (len(drive.positions) + 1)
        states = list(zip(drive.positions, wires[:-1], strict=True))
        # With one at each fitting, each is wired by itself to the same terminals.
        found += [
            Device(
                drive.device,
                name,
                drive.action,
                drive.milliseconds,
                drive.crossed,
                drive.held_on,
                wires[-1],
                tuple(_position(position, wire) for position, wire in states),
            )
            for name in (drive.works if drive.motors > 1 else [drive.name])
        ]
    for signal in document.layout.signals:
        if signal.imagined:
            continue
        aspects = tuple(lit for aspect in signal.aspects for lit in _lamps(aspect))
        found += [
            Device("signal", name, None, None, False, False, None, aspects)
            for name in (signal.name, *signal.repeaters)
        ]
    for named in document.hardware.outputs:
        where = named.decoder, named.output, named.number
        brings = tuple(WiredState(s.state, *where, s.side, None, None) for s in named.states)
        found.append(
            Device(
                "output", named.name, named.action, named.milliseconds, False, False, None, brings
            )
        )
    for lamp in document.hardware.lamps:
        lit = WiredState("lit", lamp.decoder, lamp.output, lamp.number, lamp.side, None, None)
        found.append(Device("lamp", lamp.route, None, None, False, False, None, (lit,)))
    return found


def _position(p: WiredPosition, wire: str | None) -> WiredState:
    return WiredState(p.position, p.decoder, p.output, p.number, p.side, p.value, wire)


def _lamps(a: Aspect) -> Iterator[WiredState]:
    """What shows an aspect: where it lights several lamps, each of them."""
    yield WiredState(
        _lit(a.name, blinking=a.blinking), a.decoder, a.output, a.number, a.side, a.value, None
    )
    for lamp in a.lights:
        shown = _lit(a.name, blinking=lamp.blinking)
        yield WiredState(shown, lamp.decoder, lamp.output, lamp.number, lamp.side, None, None)


def _lit(aspect: str, *, blinking: bool) -> str:
    return f"{aspect}, blinking" if blinking else aspect


def _rows(uses: Iterable[Use], terminals: Terminals) -> tuple[Row, ...]:
    """A row for each terminal of an output that something is joined to.

    A servo has one plug for all its wires, and what answers to values is no matter of
    sides: for these one row, unless the layout names wires or terminals.
    """
    at: dict[Side, str | None] = {"green": terminals.green, "red": terminals.red}
    rows = []
    named = bool(terminals.green or terminals.red or terminals.common)
    for use in uses:
        wires = [use.common, *(state.wire for state in use.does)]
        by_value = [s for s in use.does if s.side is None]
        if by_value or (use.action == "servo" and not named and not any(wires)):
            rows.append(_row(use, "all", None, None, use.does))
            continue
        for side in SIDES:
            does = [s for s in use.does if s.side == side]
            if does:
                wire = next((s.wire for s in does if s.wire), None)
                rows.append(_row(use, side, at[side], wire, does))
        if not use.held_on and (use.action != "motor" or terminals.common or use.common):
            rows.append(_row(use, "common", terminals.common, use.common, ()))
    return tuple(rows)


def _row(
    use: Use, side: Terminal, terminal: str | None, wire: str | None, does: Iterable[WiredState]
) -> Row:
    return Row(use.device, use.name, use.action, use.crossed, side, terminal, wire, tuple(does))


def device_wires(document: Document) -> list[DeviceWires]:
    """Drives, frogs on outputs and signals with the rows of all their outputs, in the order of
    their states."""
    rows: dict[tuple[str, str], list[PlacedRow]] = defaultdict(list)
    for decoder in decoder_outputs(document):
        for output in decoder.list:
            for row in output.rows:
                rows[row.device, row.name].append(_placed(row, decoder, output))
    return [
        _wires(device, rows[device.device, device.name])
        for device in devices(document)
        if device.device in ("drive", "frog", "signal")
    ]


def _placed(row: Row, decoder: Decoder, output: Output) -> PlacedRow:
    return PlacedRow(
        row.device,
        row.name,
        row.action,
        row.crossed,
        row.side,
        row.terminal,
        row.wire,
        row.does,
        decoder.name,
        output.output,
        output.number,
    )


def _wires(device: Device, rows: Iterable[PlacedRow]) -> DeviceWires:
    order = [state.state for state in device.states]

    def place(row: Row) -> tuple[bool, int]:
        """Among the rows of one output: by the first state, what is common to all last."""
        return (True, 0) if not row.does else (False, order.index(row.does[0].state))

    return DeviceWires(
        device.device,
        device.name,
        device.action,
        device.milliseconds,
        device.crossed,
        device.held_on,
        device.common,
        device.states,
        tuple(sorted(rows, key=place)),
    )
