"""Hardware lines to decoders, wired drives and supplies, with their checks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import cast

from bellcrank.diagnostics import did_you_mean
from bellcrank.hardware.addresses import HIGHEST_OUTPUT, LOWEST_OUTPUT, switch_value
from bellcrank.layout.model import (
    Action,
    Aspect,
    Counts,
    Decoder,
    DecoderKind,
    Drive,
    Hardware,
    OutputRef,
    Side,
    Signal,
    Supply,
    Wiring,
)
from bellcrank.layout.names import Names
from bellcrank.layout.quantities import milliseconds, number
from bellcrank.syntax import tree as t

DECODER = "a decoder"
DECODER_KIND = "a kind of decoder"
SUPPLY = "a supply"

LONGEST_PULSE = 500
"""Milliseconds a coil is commonly given at most; left on it overheats (common practice)."""

SIDES: tuple[Side, Side] = ("green", "red")


@dataclass(slots=True)
class Bench:
    """Decoders by name, and who uses each side of their outputs."""

    names: Names
    decoders: dict[str, Decoder] = field(default_factory=dict)
    users: dict[tuple[OutputRef, Side], tuple[str, t.Output]] = field(default_factory=dict)

    def resolve(self, output: t.Output) -> OutputRef | None:
        """The output that is named, or None with the reason reported."""
        decoder = self.decoders.get(output.decoder.text)
        if decoder is None:
            if self.names.bearers.get(output.decoder.text, ("",))[0] != DECODER:
                self.names.unknown(output.decoder, DECODER, self.decoders)
            return None
        count = decoder.kind.outputs
        text = output.number.text
        if not (text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= count):
            self.names.found.report(
                "E601",
                f"{decoder.name} has no output {text}",
                output.number.span,
                expected=f"an output from 1 to {count}"
                if count > 1
                else f"{decoder.name}.1, its only output",
            )
            return None
        return OutputRef(decoder.name, int(text))

    def take(self, user: str, output: t.Output, sides: Iterable[Side]) -> OutputRef | None:
        """Wire sides of an output to one user. Reports a side that is taken."""
        ref = self.resolve(output)
        if ref is None:
            return None
        for side in sides:
            other = self.users.setdefault((ref, side), (user, output))
            if other[1] is not output:
                self.names.found.report(
                    "E602",
                    f"{ref} is used twice: by {other[0]} and by {user}",
                    output.span,
                    expected="an output that nothing else is wired to",
                    hint=self._free(ref),
                    related=[(other[1].span, f"{other[0]} is wired to it here")],
                )
                return None
        return ref

    def _free(self, near: OutputRef) -> str | None:
        taken = {ref for ref, _ in self.users}
        order = sorted(self.decoders.values(), key=lambda d: d.name != near.decoder)
        for decoder in order:
            for index in range(1, decoder.kind.outputs + 1):
                if (decoder.name, index) not in taken:
                    return f"{decoder.name}.{index} is free so far"
        return None


def build_kinds(lines: Iterable[t.DecoderKindLine], names: Names) -> dict[str, DecoderKind | None]:
    """The kinds of decoder; None for one that is not described soundly."""
    kinds: dict[str, DecoderKind | None] = {}
    for line in lines:
        if names.claim(line.name, DECODER_KIND):
            kinds[line.name.text] = _kind(line, names)
    return kinds


def _kind(line: t.DecoderKindLine, names: Names) -> DecoderKind | None:
    found = names.found
    before = len(found.diagnostics)
    said = {setting.keyword: setting for setting in line.settings}
    outputs: int | None = 1
    if "outputs" in said:
        outputs = number(said["outputs"].words[0], "a count of outputs", 1, 256, found)
    else:
        found.report(
            "E607",
            f"`{line.name}` does not say how many outputs it has",
            line.name.span,
            expected="`outputs` and a number, such as `outputs 4`",
        )
    switch_count: int | None = 0
    if "switches" in said:
        switch_count = number(said["switches"].words[0], "a count of switches", 0, 16, found)
    counts = "outputs"
    if "counts" in said:
        word = said["counts"].words[0]
        counts = word.text
        if counts not in ("outputs", "decoders"):
            found.report(
                "E607",
                f"switches do not count `{word}`",
                word.span,
                expected="`counts outputs` or `counts decoders`",
                hint=did_you_mean(word.text, ("outputs", "decoders")),
            )
    first: int | None = 1
    if "from" in said:
        first = number(said["from"].words[0], "the value of the first number", 0, 1, found)
    low, high = LOWEST_OUTPUT, HIGHEST_OUTPUT
    if "range" in said:
        words = said["range"].words
        bounds = [number(w, "an output number", low, high, found) for w in words]
        if bounds[0] is not None and bounds[1] is not None:
            low, high = bounds[0], bounds[1]
            if low > high:
                found.report(
                    "E607", "this range ends before it begins", said["range"].span,
                    hint=f"write `range {high} to {low}`",
                )  # fmt: skip
    if len(found.diagnostics) > before:
        return None
    assert outputs is not None and switch_count is not None and first is not None
    return DecoderKind(
        line.name.text,
        outputs,
        switch_count,
        cast(Counts, counts),
        first,
        "inverted" in said,
        low,
        high,
    )


def build_decoders(
    lines: Iterable[t.DecoderLine], kinds: Mapping[str, DecoderKind | None], bench: Bench
) -> None:
    """Enter the decoders, with no two sharing an address."""
    names = bench.names
    owners: dict[int, Decoder] = {}
    for line in lines:
        sound = names.claim(line.name, DECODER)
        kind = kinds.get(line.kind.text)
        if line.kind.text not in kinds:
            names.unknown(line.kind, DECODER_KIND, kinds)
        if not sound or kind is None:
            continue
        address = number(line.address, "an address", 1, HIGHEST_OUTPUT, names.found)
        if address is None or not _address_fits(line, kind, address, names):
            # It exists, so that its outputs are not reported as well.
            bench.decoders[line.name.text] = Decoder(line.name.text, kind, 0, line.span)
            continue
        decoder = Decoder(line.name.text, kind, address, line.address.span)
        bench.decoders[decoder.name] = decoder
        clashes: dict[str, tuple[Decoder, int]] = {}
        for output in range(address, address + kind.outputs):
            other = owners.setdefault(output, decoder)
            if other is not decoder:
                clashes.setdefault(other.name, (other, output))
        for other, output in clashes.values():
            names.found.report(
                "E603",
                f"{decoder.name} and {other.name} both answer to address {output}",
                line.address.span,
                expected="an address of its own for each output",
                hint=_free_address(kind, owners),
                related=[(other.span, f"{other.name} begins at {other.address}")],
            )


def _address_fits(line: t.DecoderLine, kind: DecoderKind, address: int, names: Names) -> bool:
    last = address + kind.outputs - 1
    if address < kind.low or last > kind.high:
        bad = address if address < kind.low or address > kind.high else last
        names.found.report(
            "E604",
            f"address {bad} is outside the range of {kind.name}",
            line.address.span,
            expected=f"an address from {kind.low} to {kind.high - kind.outputs + 1}",
        )
        return False
    if not kind.switches:
        return True
    value = switch_value(
        address, kind.outputs, count_decoders=kind.counts == "decoders", first=kind.first
    )
    if value is None:
        base = address - (address - 1) % kind.outputs
        names.found.report(
            "E605",
            f"the switches of {kind.name} cannot set {address}: they count whole decoders "
            f"of {kind.outputs} outputs",
            line.address.span,
            expected=f"{base} or {base + kind.outputs}",
        )
        return False
    if value >= 1 << kind.switches:
        top = (1 << kind.switches) - 1 - kind.first
        step = kind.outputs if kind.counts == "decoders" else 1
        names.found.report(
            "E605",
            f"{kind.switches} switches cannot set {address}",
            line.address.span,
            expected=f"at most {top * step + 1}",
        )
        return False
    return True


def _free_address(kind: DecoderKind, owners: Mapping[int, Decoder]) -> str | None:
    step = kind.outputs if kind.counts == "decoders" else 1
    start = kind.low
    if step > 1:
        start += -(kind.low - 1) % step
    for address in range(start, kind.high - kind.outputs + 2, step):
        if all(n not in owners for n in range(address, address + kind.outputs)):
            return f"{address} is free so far"
    return None


def build_wirings(
    lines: Iterable[t.DriveLine],
    drives: Mapping[str, Drive],
    drive_of: Mapping[str, str],
    bench: Bench,
) -> dict[str, Wiring]:
    """How each drive is thrown. If any drive is wired, all must be, or by hand."""
    found = bench.names.found
    wirings: dict[str, Wiring] = {}
    lines = tuple(lines)
    mentioned: set[str] = set()
    for line in lines:
        drive = find_drive(line.drive, drives, drive_of, bench.names)
        if drive is None:
            continue
        mentioned.add(drive.name)
        if str(line.drive) != drive.name:
            found.report(
                "E609",
                f"{line.drive} is coupled to {drive.name} and thrown with it",
                line.drive.span,
                hint=f"wire {drive.name} alone",
            )
            continue
        if drive.name in wirings:
            found.report(
                "E202",
                f"{drive.name} is wired twice",
                line.span,
                hint="keep one of the two lines",
                related=[(wirings[drive.name].span, "wired here first")],
            )
            continue
        wiring = _wiring(line, drive, bench)
        if wiring is not None:
            wirings[drive.name] = wiring
    if lines:
        for drive in drives.values():
            if drive.name not in mentioned:
                found.report(
                    "E601",
                    f"{drive.name} is on no output, while other drives are wired",
                    drive.span,
                    expected=f"a line such as `drive {drive.name} = K1.1  coil 200 ms`",
                    hint=f"write `drive {drive.name} by hand` if nothing throws it",
                )
    return wirings


def _wiring(line: t.DriveLine, drive: Drive, bench: Bench) -> Wiring | None:
    found = bench.names.found
    if line.by_hand:
        return Wiring(drive.name, (), None, None, False, False, line.span)
    wanted = (len(drive.positions) + 1) // 2
    outputs = [bench.take(drive.name, output, SIDES) for output in line.outputs]
    if len(line.outputs) != wanted:
        found.report(
            "E609",
            f"{drive.name} has {len(drive.positions)} positions and needs {wanted} "
            f"output{'s' if wanted > 1 else ''}, two positions on each",
            line.outputs[0].span.to(line.outputs[-1].span),
            expected=f"{wanted} output{'s' if wanted > 1 else ''}",
        )
        return None
    time = milliseconds(line.duration, found) if line.duration else None
    if line.duration and time is None:
        return None
    action = cast(Action, line.action.text) if line.action else None
    if action == "coil" and time is not None and time > LONGEST_PULSE:
        assert line.duration is not None
        found.report(
            "W804",
            f"a coil held on for {time} ms may overheat",
            line.duration.span,
            expected=f"100 to {LONGEST_PULSE} ms is common practice for a coil",
        )
    if any(output is None for output in outputs):
        return None
    return Wiring(
        drive.name,
        tuple(o for o in outputs if o is not None),
        action,
        time,
        line.crossed,
        line.detected,
        line.span,
    )


def find_drive(
    name: t.DriveName, drives: Mapping[str, Drive], drive_of: Mapping[str, str], names: Names
) -> Drive | None:
    """The drive that is named, or None with the reason reported."""
    found = drive_of.get(str(name))
    if found is not None:
        return drives[found]
    parts = sorted(d for d in drive_of if d.startswith(f"{name.element}."))
    if parts:
        names.found.report(
            "E201",
            f"{name.element} has no drive `{name.drive}`"
            if name.drive
            else f"{name.element} has several drives; say which is meant",
            (name.drive or name.element).span,
            expected=" or ".join(parts),
            hint=did_you_mean(str(name), parts),
        )
    elif name.drive is not None and name.element.text in drive_of:
        names.found.report(
            "E201",
            f"{name.element} has one drive, without a name of its own",
            name.drive.span,
            expected=f"`{name.element}` alone",
        )
    elif names.bearers.get(name.element.text, ("",))[0] != "a fitting":
        names.unknown(name.element, "a fitting with a drive", drive_of)
    else:
        names.found.report(
            "E201",
            f"{name.element} has no drive",
            name.element.span,
            expected="a fitting with a drive",
        )
    return None


def wire_signal(signal: Signal, line: t.SignalLine, bench: Bench) -> Signal:
    """The signal with the aspects and outputs that its line gives it."""
    found = bench.names.found
    aspects = signal.aspects
    if line.aspects:
        aspects = tuple(_aspect(signal, a, bench) for a in line.aspects)
        seen: set[str] = set()
        for aspect in line.aspects:
            if aspect.name.text in seen:
                found.report("E202", f"there are two aspects `{aspect.name}`", aspect.name.span)
            seen.add(aspect.name.text)
        if aspects[0].name != "stop" or len(aspects) < 2:
            found.report(
                "E322",
                f"the aspects of {signal.name} must begin with stop and go on from there",
                line.aspects[0].name.span,
                expected="two aspects or more, such as `shows stop, caution, clear`",
            )
    if line.output is not None:
        if len(aspects) != 2 or any(a.output for a in aspects):
            found.report(
                "E322",
                f"one output shows two aspects; {signal.name} has {len(aspects)}",
                line.output.span,
                expected="an output for each aspect, such as "
                "`shows stop at K1.1 red, caution at K1.1 green, clear at K1.2 green`",
            )
        elif (ref := bench.take(signal.name, line.output, SIDES)) is not None:
            aspects = (
                Aspect(aspects[0].name, ref, "red"),
                Aspect(aspects[1].name, ref, "green"),
            )
    return Signal(signal.name, signal.before, signal.beyond, line.shunt, aspects, signal.span)


def _aspect(signal: Signal, aspect: t.Aspect, bench: Bench) -> Aspect:
    if aspect.output is None or aspect.side is None:
        return Aspect(aspect.name.text)
    if aspect.side.text not in SIDES:
        bench.names.found.report(
            "E322",
            f"an output has no side `{aspect.side}`",
            aspect.side.span,
            expected="`green` or `red`",
            hint=did_you_mean(aspect.side.text, SIDES),
        )
        return Aspect(aspect.name.text)
    side = aspect.side.text
    ref = bench.take(signal.name, aspect.output, (side,))
    return Aspect(aspect.name.text, ref, side if ref is not None else None)


def build_supplies(lines: Iterable[t.SupplyLine], bench: Bench) -> dict[str, Supply]:
    """The supplies, each decoder fed by one at most."""
    names = bench.names
    supplies: dict[str, Supply] = {}
    fed: dict[str, t.Word] = {}
    for line in lines:
        sound = names.claim(line.name, SUPPLY)
        feeds = []
        for word in line.feeds:
            if word.text not in bench.decoders:
                if names.bearers.get(word.text, ("",))[0] != DECODER:
                    names.unknown(word, DECODER, bench.decoders)
            elif word.text in fed:
                names.found.report(
                    "E610",
                    f"{word} is fed twice",
                    word.span,
                    expected="one supply for each decoder",
                    related=[(fed[word.text].span, "fed here first")],
                )
            else:
                fed[word.text] = word
                feeds.append(word.text)
        if not line.feeds:
            names.found.report(
                "E610",
                f"{line.name} feeds nothing",
                line.name.span,
                expected="`feeds` and the decoders, such as `feeds K1, K2`",
            )
        at_a_time = rest = None
        if line.at_a_time is not None:
            at_a_time = number(line.at_a_time, "a count of drives", 1, 256, names.found)
        if line.rest is not None:
            rest = milliseconds(line.rest, names.found)
        if sound:
            name = line.name.text
            supplies[name] = Supply(name, tuple(feeds), at_a_time, rest, line.span)
    return supplies


def build_hardware(
    statements: Iterable[t.Statement],
    drives: Mapping[str, Drive],
    drive_of: Mapping[str, str],
    bench: Bench,
) -> Hardware:
    """All hardware but the signals, which `wire_signal` wires."""
    statements = tuple(statements)
    wirings = build_wirings(
        (s for s in statements if isinstance(s, t.DriveLine)), drives, drive_of, bench
    )
    supplies = build_supplies((s for s in statements if isinstance(s, t.SupplyLine)), bench)
    return Hardware(bench.decoders, wirings, supplies)
