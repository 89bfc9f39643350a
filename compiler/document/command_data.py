"""Commands, when they are sent, and all that can be commanded as plain data, for the document."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bellcrank.document.data import Data
from bellcrank.document.layout_data import drive_data, signals_data
from bellcrank.hardware.packet_bytes import basic_accessory, bits, extended_accessory
from bellcrank.layout.layout_model import Layout
from bellcrank.machine.commands import Command
from bellcrank.timing.timetable_model import Timetable, Wait


def command_data(command: Command, layout: Layout) -> Data:
    """A command; without a decoder it is carried out by hand."""
    return {
        "route": command.route or None,
        "step": command.step,
        "phase": command.phase,
        "device": command.device,
        "name": command.name,
        "state": command.state,
        "how": command.how,
        "decoder": command.decoder,
        "output": command.output,
        "number": command.number,
        "side": command.side,
        "value": command.value,
        "milliseconds": command.milliseconds,
        "only_if_set": list(command.only_if_set),
        "packet": packet_data(command, layout),
    }


def states_data(layout: Layout) -> list[Data]:
    """Everything that can be commanded, and the reports of detected sections, in a fixed
    order: for controllers that know each by a number."""
    found: list[Data] = []

    def add(device: str, name: str, state: str, of: Mapping[str, Any]) -> None:
        where = {key: of.get(key) for key in ("decoder", "output", "number", "side", "value")}
        found.append({"device": device, "name": name, "state": state, **where})

    for name in layout.drives:
        for position in drive_data(name, layout)["positions"]:
            add("drive", name, position["position"], position)
    for signal in signals_data(layout):
        for aspect in signal["aspects"]:
            add("signal", signal["name"], aspect["name"], aspect)
    for section in layout.sections.values():
        if section.detected:
            for state in ("occupied", "clear"):
                add("section", section.name, state, {})
    return found


def packet_data(command: Command, layout: Layout) -> Data | None:
    """The packet of a command; None without an output, or if the layout does not say how
    outputs are numbered in packets."""
    first = layout.hardware.first_decoder
    return packet_of(command.number, command.side, command.value, first)


def packet_of(
    output: int | None, side: str | None, value: int | None, first: int | None
) -> Data | None:
    """The packet for a side of an output, or for a value on extended packets.

    output: its number; None if nothing is wired. first: the number of the first decoder;
    None if the layout does not say how outputs are numbered in packets.
    """
    if first is None or output is None:
        return None
    if value is not None:
        on = extended_accessory(output, value, first_decoder=first)
        return {"type": "extended", "on": _hex(on), "off": None, "bits": bits(on)}
    green = side == "green"
    on, off = (
        basic_accessory(output, green=green, activate=activate, first_decoder=first)
        for activate in (True, False)
    )
    return {"type": "basic", "on": _hex(on), "off": _hex(off), "bits": bits(on)}


def _hex(data: bytes) -> str:
    return data.hex(" ").upper()


def timetable_data(timetable: Timetable, layout: Layout) -> Data:
    """A timetable; what is done by hand has no time."""
    return {
        "what": timetable.what,
        "route": timetable.of or None,
        "total": timetable.total,
        "bound": timetable.bound,
        "commands": [
            {
                "at": None if timed.by_hand else timed.at,
                "until": None if timed.by_hand else timed.until,
                "after": [_wait(wait) for wait in timed.after],
                "command": command_data(timed.command, layout),
            }
            for timed in timetable.commands
        ],
        "waits": [_wait(wait) for wait in timetable.waits],
    }


def _wait(wait: Wait) -> Data:
    return {
        "kind": wait.kind,
        "name": wait.name,
        "state": wait.state,
        "sentence": wait.sentence,
    }
