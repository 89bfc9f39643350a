"""What comes of a layout at the bench, as a table of the language reference: how each decoder is
set, and for each state that is wired its command, its wires and its line of the checklist.

`python tests/grammar/at_the_bench.py` writes the tables of the reference anew.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from bellcrank.document.build_document import build_document
from bellcrank.document.command_types import Lamp, State
from bellcrank.document.document_types import SPARED, Document
from bellcrank.document.hardware_types import Decoder
from bellcrank.document.layout_types import Aspect, LitLamp, WiredPosition
from bellcrank.layout.layout_model import Layout
from bellcrank.machine.commands import Command, show_list, switch_command, throw_command
from bellcrank.paper.trial_checklist import drive_checks, signal_checks
from bellcrank.paper.wiring_list import decoder_outputs
from bellcrank.terminal.timetable_text import command_words

REFERENCE = Path(__file__).parents[2] / "grammar" / "README.md"

HEAD = "| at the bench | how it is set; what is sent | wires | checklist |\n|---|---|---|---|\n"

TABLED = re.compile(
    rf"^```crank\n(?P<text>(?:(?!```).*\n)*)```\n\n(?P<table>{re.escape(HEAD)}(?:\|.*\n)*)", re.M
)
"""An example with its table."""


def table(text: str) -> str:
    """The table of a layout."""
    from sound_layouts import undecided

    c = undecided(text)
    rows = list(_rows(build_document(c, SPARED), c.layout))
    return HEAD + "".join(f"| {' | '.join(row)} |\n" for row in rows)


def _rows(document: Document, layout: Layout) -> Iterator[Sequence[str]]:
    for decoder in document.hardware.decoders:
        last = decoder.address + decoder.outputs - 1
        numbers = f"{decoder.address}" if decoder.outputs == 1 else f"{decoder.address} to {last}"
        yield f"decoder {decoder.name}, {numbers}", _set(decoder), "", ""
    wires, sent = _wires(document), _checklist(document)
    for device, name, state, command in _commands(layout):
        words = command_words(command).partition(": ")[2]
        yield f"{name} {state}", words, wires[name, state], sent[device, name, state]


def _set(decoder: Decoder) -> str:
    if decoder.switches:
        on = ", ".join(map(str, decoder.switches_on))
        return f"switches on: {on}" if on else "all switches off"
    if decoder.rotary_bank:
        return f"rotary switches: {' '.join(r.shows for r in decoder.rotary_bank)}"
    if decoder.variables:
        return f"variables: {', '.join(f'{v.number} = {v.value}' for v in decoder.variables)}"
    if decoder.learning:
        return f"button held: {', then '.join(f'{x.number} green' for x in decoder.learning)}"
    return "as its maker tells"


def _commands(layout: Layout) -> Iterator[tuple[str, str, str, Command]]:
    for drive in layout.drives.values():
        for position in drive.positions:
            command = throw_command(layout, drive.name, position)
            if command.decoder is not None:
                yield "drive", drive.name, position, command
    for signal in layout.signals.values():
        for aspect in signal.aspects:
            if aspect.output is not None:
                command = show_list(layout, signal.name, aspect.name)[-1]
                yield "signal", signal.name, aspect.name, command
    for output in layout.hardware.outputs.values():
        for state in output.states:
            yield "output", output.name, state, switch_command(layout, output.name, state)


def _wires(document: Document) -> dict[tuple[str, str], str]:
    """By device and state: the sides of outputs, with what is printed there, for each device that
    is wired there."""
    alike = {work: d.name for d in document.layout.drives for work in d.works}
    alike |= {name: s.name for s in document.layout.signals for name in (s.name, *s.repeaters)}
    found: dict[tuple[str, str], dict[str, list[str]]] = {}
    for decoder in decoder_outputs(document):
        for output in decoder.list:
            for row in output.rows:
                for does in row.does:
                    state, _, blinks = does.state.partition(", ")
                    of = alike.get(row.name, row.name), state
                    there = "plug" if row.side == "all" else row.side
                    printed = f' "{row.terminal}"' if row.terminal else ""
                    words = f"{decoder.name}.{output.output} {there}{printed}"
                    words += f" ({blinks})" if blinks else ""
                    found.setdefault(of, {}).setdefault(words, []).append(row.name)
    return {
        of: "; ".join(_for(words, names, of[0]) for words, names in wires.items())
        for of, wires in found.items()
    }


def _for(words: str, names: Iterable[str], name: str) -> str:
    return words if list(names) == [name] else f"{words} to {', '.join(names)}"


def _checklist(document: Document) -> dict[tuple[str, str, str], str]:
    """What the checklist says to send for each state."""
    found = {}
    for drive in drive_checks(document):
        for p in drive.throws:
            found["drive", drive.drive.name, p.position] = _send(p.puts_out, [_at(p)])
    for signal in signal_checks(document):
        for a in signal.aspects:
            lamps = [f"blinking: {_at(x)}" if x.blinking else _at(x) for x in (a, *a.beside)]
            found["signal", signal.name, a.name] = _send(a.puts_out, lamps)
    for s in document.states:
        if s.device == "output":
            found[s.device, s.name, s.state] = _send(s.puts_out, [_at(s)])
    return found


def _send(off: Iterable[Lamp], on: Iterable[str]) -> str:
    return ", ".join([*(f"{x.number} {x.side} off" for x in off), " and ".join(on)])


def _at(place: WiredPosition | Aspect | LitLamp | State) -> str:
    value = None if isinstance(place, LitLamp) else place.value
    sent = f"value {value}" if place.side is None else place.side
    return f"{place.number} {sent} ({place.decoder}.{place.output})"


def with_tables(reference: str) -> str:
    """The reference with every table as it must be."""
    return TABLED.sub(lambda m: m[0].removesuffix(m["table"]) + table(m["text"]), reference)


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))
    REFERENCE.write_text(with_tables(REFERENCE.read_text("utf-8")), "utf-8")
