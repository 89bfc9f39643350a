"""Outputs for drives, signals, lamps, frogs and other things that name only a kind of decoder.

Outputs that are stated are kept for those who state them, wherever they stand. The
others are given out in the order of the text, the lowest first, from the decoders of
the kind that stand above; only when those are used up is a decoder added. So one line
more at the end moves nothing that stands before it.
"""

from __future__ import annotations

import re
from collections import defaultdict, deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from bellcrank.diagnostics import Noun
from bellcrank.layout.declared_below import DeclaredBelow
from bellcrank.layout.declared_names import work_named
from bellcrank.layout.decoders import DECODER, SIDES, Bench
from bellcrank.layout.kinds import DECODER_KIND
from bellcrank.layout.layout_model import Decoder, DecoderKind, Drive, OutputRef, Work
from bellcrank.layout.packet_formats import report_drive_on_extended
from bellcrank.syntax import tree as t

OUTPUT = Noun("an", "output")

HardwareLine = t.DecoderLine | t.DriveLine | t.SignalLine | t.LampLine | t.FrogWired | t.OutputLine


@dataclass(slots=True)
class _Stock:
    """What is left of the outputs, by kind of decoder.

    stated: outputs that lines name themselves, by decoder and number.
    barred: names that no added decoder may bear.
    order: the names of all decoders, in the order of the text.
    """

    bench: Bench
    stated: frozenset[OutputRef]
    barred: frozenset[str]
    free: dict[str, deque[OutputRef]] = field(default_factory=lambda: defaultdict(deque))
    added: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    order: list[str] = field(default_factory=list)
    below: DeclaredBelow = field(default_factory=lambda: DeclaredBelow(DECODER, OUTPUT))

    def put(self, decoder: Decoder) -> None:
        self.order.append(decoder.name)
        self.below.come_to(decoder.kind.name, decoder.name)
        self.free[decoder.kind.name].extend(self.left_of(decoder))

    def left_of(self, decoder: Decoder) -> list[OutputRef]:
        """The outputs of a decoder that no line names."""
        refs = (OutputRef(decoder.name, n) for n in range(1, decoder.kind.outputs + 1))
        return [ref for ref in refs if ref not in self.stated]

    def draw(self, kind: DecoderKind, word: t.Word) -> OutputRef:
        while not self.free[kind.name]:
            self._add(kind, word)
        return self.free[kind.name].popleft()

    def _add(self, kind: DecoderKind, word: t.Word) -> None:
        names = self.bench.names
        while True:
            self.added[kind.name] += 1
            name = f"{kind.name}_{self.added[kind.name]}"
            if name not in names.bearers and name not in self.barred:
                break
        self.below.added(kind.name, name, word.span, names.found)
        names.claim(t.Word(word.span, name), DECODER)
        decoder = Decoder(name, kind, 0, word.span, assigned=True)
        self.bench.decoders[name] = decoder
        self.put(decoder)


def allot_outputs(
    lines: Iterable[HardwareLine],
    drives: Mapping[str, Drive],
    drive_of: Mapping[Work, str],
    bench: Bench,
    barred: Iterable[str] = (),
) -> None:
    """Give outputs to whom only a kind of decoder is named for; adds decoders as needed.

    lines: decoders, drives, signals, lamps, frogs and outputs in the order of the text.
    barred: names that things will have which are not in the list of names yet.
    """
    lines = tuple(lines)
    stated = frozenset(
        OutputRef(output.decoder.text, int(output.number.text))
        for line in lines
        for output in _outlets(line)
        if isinstance(output, t.Output) and re.fullmatch("[0-9]{1,9}", output.number.text)
    )
    bench.stated = stated
    stock = _Stock(bench, stated, frozenset(barred))
    declared = {d.span: d for d in bench.decoders.values()}
    for each in bench.decoders.values():
        if stock.left_of(each):
            _, place = bench.names.bearers[each.name]
            stock.below.declared(each.kind.name, each.name, place)
    for line in lines:
        if isinstance(line, t.DecoderLine):
            word = line.address or line
            decoder = declared.get(word.span) or declared.get(line.span)
            if decoder is not None:
                stock.put(decoder)
            continue
        if isinstance(line, t.SignalLine):
            _allot_sides(([(o.output, o.side) for o in a.lamps] for a in line.aspects), stock)
        elif isinstance(line, t.DriveLine) and line.places and line.places[0].value is None:
            _allot_sides(([(p.output, p.side)] for p in line.places), stock)
            continue
        for outlet in line.outputs if isinstance(line, t.DriveLine) else (line.output,):
            if isinstance(outlet, t.FreeOutput):
                _allot(outlet, line, drives, drive_of, stock)
    # Addresses are chosen in this order, so those added have their place by their line.
    bench.decoders = {name: bench.decoders[name] for name in stock.order}


def _allot(
    outlet: t.FreeOutput,
    line: t.DriveLine | t.SignalLine | t.LampLine | t.FrogWired | t.OutputLine,
    drives: Mapping[str, Drive],
    drive_of: Mapping[Work, str],
    stock: _Stock,
) -> None:
    bench = stock.bench
    kind = _kind(outlet, bench)
    if kind is None:
        return
    count = 1
    if isinstance(line, t.DriveLine):
        drive = drives.get(drive_of.get(work_named(line.drive), ""))
        if drive is None or (
            not line.places
            and report_drive_on_extended(
                str(line.drive), drive.positions, kind, outlet, bench.names
            )
        ):
            return
        if len(line.outputs) == 1 and not line.places:
            count = (len(drive.positions) + 1) // 2
    bench.allotted[outlet.span] = tuple(stock.draw(kind, outlet.kind) for _ in range(count))


Sided = tuple[t.Outlet | None, t.Word | None]
"""What is wired to a side, with the side, as far as they are said."""


def _allot_sides(groups: Iterable[Iterable[Sided]], stock: _Stock) -> None:
    """Give each lamp of a signal, or position of a drive, a side of an output: of one that it has
    already, if that side of it is free, else of the next free output.

    groups: those that are on together, as the lamps of one aspect. Where the decoder switches on
        one side of an output at a time, they get outputs that differ.
    """
    had: dict[str, list[tuple[OutputRef, set[str]]]] = defaultdict(list)
    for group in groups:
        lit: set[OutputRef] = set()
        for outlet, said in group:
            if not isinstance(outlet, t.FreeOutput) or said is None:
                continue
            kind = _kind(outlet, stock.bench)
            side = said.text
            # What is wrong with the other two is told where they are wired.
            if kind is None or kind.packets == "extended" or side not in SIDES:
                continue
            own = had[kind.name]
            barred = lit if kind.lamps == "paired" else ()
            fits = (o for o in own if side not in o[1] and o[0] not in barred)
            found = next(fits, None)
            if found is None:
                found = stock.draw(kind, outlet.kind), set()
                own.append(found)
            found[1].add(side)
            lit.add(found[0])
            stock.bench.allotted[outlet.span] = (found[0],)


def _kind(outlet: t.FreeOutput, bench: Bench) -> DecoderKind | None:
    """The kind that is named; None if there is none that is sound, which has been reported."""
    if outlet.kind.text not in bench.kinds:
        _report_no_kind(outlet, bench)
        return None
    return bench.kinds[outlet.kind.text]


def _report_no_kind(outlet: t.FreeOutput, bench: Bench) -> None:
    decoder = bench.decoders.get(outlet.kind.text)
    if decoder is None:
        number = outlet.kind.text if outlet.kind.text.isdigit() else ""
        first = next(iter(bench.decoders), "K1")
        hint = f"an output is named with its decoder: `{first}.{number}`" if number else None
        bench.names.unknown(outlet.kind, DECODER_KIND, bench.kinds, hint)
        return
    last = decoder.kind.outputs
    bench.names.found.report(
        "E601",
        f"{decoder.name} is a decoder; which of its outputs is meant is not said",
        outlet.span,
        expected=f"an output from {decoder.name}.1 to {decoder.name}.{last}"
        if last > 1
        else f"{decoder.name}.1, its only output",
        hint=f"`{decoder.kind.name}` would take the next free output of that kind",
    )


def _outlets(line: HardwareLine) -> tuple[t.Outlet, ...]:
    if isinstance(line, t.DecoderLine):
        return ()
    if isinstance(line, t.DriveLine):
        return line.outputs
    if isinstance(line, t.LampLine | t.FrogWired | t.OutputLine):
        return (line.output,)
    shown = tuple(lamp.output for aspect in line.aspects for lamp in aspect.lamps)
    return shown if line.output is None else (*shown, line.output)
