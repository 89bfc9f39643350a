"""Commands, when they are sent, and all that can be commanded, for the document."""

from __future__ import annotations

from collections.abc import Iterable

from bellcrank.document import command_types
from bellcrank.document.command_types import Packet, State
from bellcrank.document.layout_data import drive_data, signals_data
from bellcrank.hardware.packet_bytes import basic_accessory, bits, extended_accessory
from bellcrank.layout.layout_model import Layout
from bellcrank.machine.commands import Command, sides_of_output_put_out, sides_put_out
from bellcrank.machine.lamps import Lamp, lamps_lit_beside, lamps_put_out
from bellcrank.timing.timetable_model import Timetable, Wait


def command_data(command: Command, layout: Layout) -> command_types.Command:
    """A command; without a decoder it is carried out by hand."""
    return command_types.Command(
        route=command.route or None,
        step=command.step,
        phase=command.phase,
        device=device_of(command),
        name=command.name,
        state=command.state,
        how=command.how,
        decoder=command.decoder,
        output=command.output,
        number=command.number,
        side=command.side,
        value=command.value,
        milliseconds=command.milliseconds,
        held=command.held,
        puts_out=_lamps(command.puts_out, layout),
        lights=_lamps_on(command.lights, layout),
        only_if_set=list(command.only_if_set),
        packet=packet_of(
            command.number, command.side, command.value, layout.hardware.first_decoder
        ),
    )


def device_of(command: Command) -> command_types.Device:
    """What a command is sent to. Whoever has drives switched needs to know of no frogs."""
    return "drive" if command.device == "frog" else command.device


def states_data(layout: Layout) -> list[State]:
    """Everything that can be commanded, and the reports of detected sections, in a fixed
    order, outputs for other things last: for controllers that know each by a number."""
    found = [
        State(
            device="drive",
            name=name,
            state=p.position,
            decoder=p.decoder,
            output=p.output,
            number=p.number,
            side=p.side,
            value=p.value,
            puts_out=_lamps(sides_put_out(layout, name, p.position), layout),
            lights=[],
        )
        for name in layout.drives
        for p in drive_data(name, layout).positions
    ]
    found += [
        State(
            device="signal",
            name=signal.name,
            state=a.name,
            decoder=a.decoder,
            output=a.output,
            number=a.number,
            side=a.side,
            value=a.value,
            puts_out=_lamps(lamps_put_out(layout, signal.name, a.name), layout),
            lights=_lamps_on(lamps_lit_beside(layout, signal.name, a.name), layout),
        )
        for signal in signals_data(layout)
        if not signal.imagined
        for a in signal.aspects
    ]
    found += [
        State(
            device="section",
            name=section.name,
            state=state,
            decoder=None,
            output=None,
            number=None,
            side=None,
            value=None,
            puts_out=[],
            lights=[],
        )
        for section in layout.sections.values()
        if section.detected
        for state in ("occupied", "clear")
    ]
    found += [
        State(
            device="output",
            name=named.name,
            state=state,
            decoder=named.output.decoder,
            output=named.output.number,
            number=layout.hardware.number_of(named.output),
            side=side,
            value=None,
            puts_out=_lamps(sides_of_output_put_out(layout, named.name, state), layout),
            lights=[],
        )
        for named in layout.hardware.outputs.values()
        for state, side in named.states.items()
    ]
    return found


def _lamps(lamps: Iterable[Lamp], layout: Layout) -> list[command_types.Lamp]:
    """Lamps that are put out."""
    first = layout.hardware.first_decoder
    found = []
    for lamp in lamps:
        packet = packet_of(lamp.number, lamp.side, None, first)
        found.append(
            command_types.Lamp(
                decoder=lamp.decoder,
                output=lamp.output,
                number=lamp.number,
                side=lamp.side,
                packet=packet.off if packet else None,
            )
        )
    return found


def _lamps_on(lamps: Iterable[Lamp], layout: Layout) -> list[command_types.LampOn]:
    """Lamps that are lit beside another."""
    first = layout.hardware.first_decoder
    found = []
    for lamp in lamps:
        packet = packet_of(lamp.number, lamp.side, None, first)
        found.append(
            command_types.LampOn(
                decoder=lamp.decoder,
                output=lamp.output,
                number=lamp.number,
                side=lamp.side,
                packet=packet.on if packet else None,
            )
        )
    return found


def packet_of(
    output: int | None, side: str | None, value: int | None, first: int | None
) -> Packet | None:
    """The packet for a side of an output, or for a value on extended packets.

    output: its number; None if nothing is wired. first: the number of the first decoder;
    None if the layout does not say how outputs are numbered in packets.
    """
    if first is None or output is None:
        return None
    if value is not None:
        on = extended_accessory(output, value, first_decoder=first)
        return Packet(type="extended", on=_hex(on), off=None, bits=bits(on))
    green = side == "green"
    on, off = (
        basic_accessory(output, green=green, activate=activate, first_decoder=first)
        for activate in (True, False)
    )
    return Packet(type="basic", on=_hex(on), off=_hex(off), bits=bits(on))


def _hex(data: bytes) -> str:
    return data.hex(" ").upper()


def timetable_data(timetable: Timetable, layout: Layout) -> command_types.Timetable:
    """A timetable; what is done by hand has no time."""
    return command_types.Timetable(
        what=timetable.what,
        route=timetable.of or None,
        total=timetable.total,
        bound=timetable.bound,
        commands=[
            command_types.TimedCommand(
                at=None if timed.by_hand else timed.at,
                until=None if timed.by_hand else timed.until,
                after=[_wait(wait) for wait in timed.after],
                command=command_data(timed.command, layout),
            )
            for timed in timetable.commands
        ],
        waits=[_wait(wait) for wait in timetable.waits],
    )


def _wait(wait: Wait) -> command_types.Wait:
    return command_types.Wait(
        kind=wait.kind, name=wait.name, state=wait.state, sentence=wait.sentence
    )
