"""What is wired to which output: drives, signals, supplies."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import cast

from bellcrank.diagnostics import Collector, Noun, did_you_mean
from bellcrank.layout.declared_names import Names, work_named
from bellcrank.layout.decoders import DECODER, SIDES, Bench
from bellcrank.layout.layout_model import (
    Action,
    Aspect,
    Drive,
    Signal,
    Supply,
    Wiring,
    Work,
)
from bellcrank.layout.packet_formats import (
    aspect_values,
    report_drive_on_extended,
    report_sides_on_extended,
    report_too_much_for_basic,
    report_values_on_nothing,
)
from bellcrank.layout.quantities import milliseconds, number
from bellcrank.layout.track import FITTING
from bellcrank.syntax import tree as t

FITTING_WITH_DRIVE = Noun("a", "fitting with a drive")
SUPPLY = Noun("a", "supply")

LONGEST_PULSE = 500
"""Milliseconds a coil is commonly given at most; left on it overheats (common practice)."""


def build_wirings(
    lines: Iterable[t.DriveLine],
    drives: dict[str, Drive],
    drive_of: Mapping[Work, str],
    bench: Bench,
) -> dict[str, Wiring]:
    """How each drive is thrown. If any drive is wired, all must be, or by hand.

    Those that report where they lie are marked so in `drives`.
    """
    found = bench.names.found
    wirings: dict[str, Wiring] = {}
    lines = tuple(lines)
    thrown: set[str] = set()
    said: dict[str, t.DriveLine] = {}
    for line in lines:
        drive = find_drive(line.drive, drives, drive_of, bench.names)
        if drive is None:
            # Of this fitting some drive is meant, so that none of them is forgotten.
            element = line.drive.element.text
            thrown |= {d.name for d in drives.values() if d.works[0].element == element}
            continue
        if line.outputs or line.by_hand:
            thrown.add(drive.name)
        if work_named(line.drive) != drive.works[0]:
            found.report(
                "E609",
                f"{line.drive} is coupled to {drive.name} and thrown with it",
                line.drive.span,
                hint=f"wire {drive.name} alone"
                if line.outputs
                else f"say it of {drive.name} alone",
            )
            continue
        first = said.setdefault(drive.name, line)
        if first is not line:
            found.report(
                "E202",
                f"{drive.name} has two `drive` lines",
                line.span,
                hint="keep one line with all of it",
                related=[(first.span, "the other line")],
            )
            continue
        drives[drive.name] = replace(drive, detected=line.detected)
        wiring = _wiring(line, drive, bench)
        if wiring is not None:
            wirings[drive.name] = wiring
    if any(line.outputs or line.by_hand for line in lines):
        for drive in drives.values():
            if drive.name not in thrown:
                _report_forgotten(drive, said.get(drive.name), found)
    return wirings


def _report_forgotten(drive: Drive, line: t.DriveLine | None, found: Collector) -> None:
    """Report a drive of which no line says how it is thrown; one may say that it reports."""
    reports = " detected" if line else ""
    found.report(
        "E601",
        f"{drive.name} is on no output, while other drives are wired",
        line.span if line else drive.span,
        expected=f"a line such as `drive {drive.name} = K1.1  coil 200 ms{reports}`",
        hint=f"write `drive {drive.name} by hand{reports}` if nothing throws it",
    )


def _wiring(line: t.DriveLine, drive: Drive, bench: Bench) -> Wiring | None:
    found = bench.names.found
    if not line.outputs:
        return Wiring(drive.name, (), None, None, False, line.span)
    wanted = (len(drive.positions) + 1) // 2
    # Of kinds in place of an output it has been reported, as none was given out.
    unfit = [
        report_drive_on_extended(drive.name, kind, outlet, bench.names)
        for outlet in line.outputs
        if isinstance(outlet, t.Output) and (kind := bench.kind_of(outlet)) is not None
    ]
    if any(unfit):
        return None
    # A kind of decoder alone stands for as many outputs as are needed.
    alone = len(line.outputs) == 1 and isinstance(line.outputs[0], t.FreeOutput)
    outputs = tuple(ref for outlet in line.outputs for ref in bench.take_all(drive.name, outlet))
    if len(line.outputs) != wanted and not alone:
        found.report(
            "E609",
            f"{drive.name} has {len(drive.positions)} positions and needs {wanted} "
            f"output{'s' if wanted > 1 else ''}, two positions on each",
            line.outputs[0].span.to(line.outputs[-1].span),
            expected=f"{wanted} output{'s' if wanted > 1 else ''}",
        )
        return None
    said = (line.duration, line.settles, line.rests)
    times = [milliseconds(word, found) if word else None for word in said]
    if any(word and ms is None for word, ms in zip(said, times, strict=True)):
        return None
    time, settles, rests = times
    action = cast(Action, line.action.text) if line.action else None
    if action == "coil" and time is not None:
        _check_coil(line, time, rests, found)
    if line.wires and (
        len(line.wires) != len(drive.positions) + 1 or not all(w.text.strip() for w in line.wires)
    ):
        found.report(
            "E609",
            f"{drive.name} has {len(drive.positions)} positions, and "
            f"{sum(bool(wire.text.strip()) for wire in line.wires)} of its wires are named",
            line.wires[0].span.to(line.wires[-1].span),
            expected=f"{len(drive.positions) + 1} wires: for {', '.join(drive.positions)}, "
            "and then the common",
        )
    if len(outputs) != wanted:
        return None
    return Wiring(
        drive.name,
        outputs,
        action,
        time,
        line.crossed,
        line.span,
        settles,
        rests,
        tuple(wire.text for wire in line.wires),
    )


def _check_coil(line: t.DriveLine, pulse: int, rests: int | None, found: Collector) -> None:
    """Report a coil that would overheat: held on for too long, or thrown too often."""
    if pulse > LONGEST_PULSE:
        assert line.duration is not None
        found.report(
            "E611",
            f"a coil held on for {pulse} ms overheats",
            line.duration.span,
            expected=f"100 to {LONGEST_PULSE} ms is common practice for a coil",
        )
    if rests is not None and rests < pulse:
        assert line.rests is not None
        found.report(
            "E611",
            f"a coil that rests for {rests} ms after a pulse of {pulse} ms overheats",
            line.rests.span,
            expected=f"a rest of {pulse} ms at least",
        )


def find_drive(
    name: t.DriveName, drives: Mapping[str, Drive], drive_of: Mapping[Work, str], names: Names
) -> Drive | None:
    """The drive that is named, or None with the reason reported."""
    found = drive_of.get(work_named(name))
    if found is not None:
        return drives[found]
    element = name.element.text
    parts = sorted(str(w) for w in drive_of if w.element == element and w.drive)
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
    elif name.drive is not None and Work(element, "") in drive_of:
        names.found.report(
            "E201",
            f"{name.element} has one drive, without a name of its own",
            name.drive.span,
            expected=f"`{name.element}` alone",
        )
    elif element not in names.bearers or names.bearers[element][0] != FITTING:
        names.unknown(name.element, FITTING_WITH_DRIVE, map(str, drive_of))
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
    if line.output is None:
        report_values_on_nothing(line, found)
    else:
        aspects = _on_one_output(signal.name, aspects, line, line.output, bench)
    return Signal(signal.name, signal.before, signal.beyond, line.shunt, aspects, signal.span)


def _on_one_output(
    signal: str,
    aspects: tuple[Aspect, ...],
    line: t.SignalLine,
    outlet: t.Outlet,
    bench: Bench,
) -> tuple[Aspect, ...]:
    """The aspects of a signal that one output shows: by its two sides, or by values."""
    found = bench.names.found
    if any(a.output for a in line.aspects):
        found.report(
            "E322",
            f"{signal} is on one output with all its aspects, and some have one of their own",
            outlet.span,
            expected="either `=` and one output, or an output for each aspect",
        )
        return aspects
    refs = bench.take_all(signal, outlet)
    kind = bench.kind_of(outlet)
    if kind is None or not refs:
        return aspects
    (ref,) = refs
    if kind.packets == "extended":
        values = aspect_values(line, len(aspects), found)
        if values is None:
            return aspects
        return tuple(
            Aspect(a.name, ref, None, value) for a, value in zip(aspects, values, strict=True)
        )
    if report_too_much_for_basic(signal, len(aspects), line, kind, found) or len(aspects) != 2:
        return aspects
    return (Aspect(aspects[0].name, ref, "red"), Aspect(aspects[1].name, ref, "green"))


def _aspect(signal: Signal, aspect: t.Aspect, bench: Bench) -> Aspect:
    if aspect.output is None or aspect.side is None:
        return Aspect(aspect.name.text)
    kind = bench.kind_of(aspect.output)
    if kind is not None and report_sides_on_extended(kind, aspect, bench.names.found):
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
            if word.text not in bench.decoders and word.text not in bench.kinds:
                names.unknown(word, DECODER, bench.decoders)
            of_kind = [d.name for d in bench.decoders.values() if d.kind.name == word.text]
            for name in [word.text] if word.text in bench.decoders else of_kind:
                if name in fed:
                    names.found.report(
                        "E610",
                        f"{name} is fed twice",
                        word.span,
                        expected="one supply for each decoder",
                        related=[(fed[name].span, "fed here first")],
                    )
                else:
                    fed[name] = word
                    feeds.append(name)
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
