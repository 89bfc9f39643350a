"""How decoders without switches are set, for the document."""

from __future__ import annotations

from bellcrank.document.hardware_types import Lesson, Variable
from bellcrank.hardware.packet_bytes import variable_write
from bellcrank.layout.layout_model import Decoder, Layout
from bellcrank.layout.on_times import times_needed
from bellcrank.layout.variables import VariableValue, variable_values


def variables_data(decoder: Decoder, layout: Layout) -> list[Variable]:
    """What to write into the variables of a decoder; nothing if it is not set by them."""
    kind = decoder.kind
    if kind.variables is None:
        return []
    address = kind.value_for(decoder.address)
    assert address is not None  # the layout stage refuses what cannot be set
    times = {
        timed.output.number: timed.milliseconds
        for timed in times_needed(
            layout.hardware.wirings.values(),
            layout.drives,
            layout.signals.values(),
            layout.hardware.outputs.values(),
        )
        if timed.output.decoder == decoder.name
    }
    values = variable_values(
        kind.variables,
        kind.counts,
        address,
        extended=kind.packets == "extended",
        times=times,
    )
    return [
        Variable(
            number=v.number,
            value=v.value,
            what=v.what,
            output=v.output or None,
            packet=_packet(v, decoder, layout.hardware.first_decoder),
        )
        for v in values
    ]


def _packet(variable: VariableValue, decoder: Decoder, first_decoder: int | None) -> str | None:
    """The packet that writes a variable of a decoder in use, if there may be one.

    What it listens to must not change halfway: the address is in several variables.
    """
    if variable.moves_address or first_decoder is None:
        return None
    data = variable_write(
        decoder.address,
        variable.number,
        variable.value,
        of_output=decoder.kind.counts == "outputs",
        extended=decoder.kind.packets == "extended",
        first_decoder=first_decoder,
    )
    return data.hex(" ").upper()


def learning_data(decoder: Decoder) -> list[Lesson]:
    """What a decoder learns while its button is held; nothing if it does not learn."""
    match decoder.kind.learns:
        case None:
            return []
        case "decoder":
            return [Lesson(output=1, number=decoder.address)]
        case "outputs":
            return [
                Lesson(output=n, number=number) for n, number in enumerate(decoder.numbers, start=1)
            ]
