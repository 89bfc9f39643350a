"""What shows the aspects of each signal: the two sides of one output, values that are sent to
one, or the lamps that are lit for each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from bellcrank.diagnostics import Noun
from bellcrank.layout.decoders import Bench, side_named
from bellcrank.layout.lamp_order import Wire, goes_out, lit_in_order
from bellcrank.layout.layout_model import Aspect, LitLamp, Signal
from bellcrank.layout.packet_formats import (
    aspect_values,
    report_sides_on_extended,
    report_too_much_for_basic,
    report_values_on_nothing,
)
from bellcrank.syntax import tree as t

REPEATER = Noun("a", "repeater")


def wire_signal(signal: Signal, line: t.SignalLine, bench: Bench) -> Signal:
    """The signal with the aspects and outputs that its line gives it."""
    found = bench.names.found
    aspects = signal.aspects
    if line.aspects:
        aspects = _lit(signal.name, line.aspects, bench)
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
    if line.aspects:
        aspects = tuple(
            replace(aspect, blinking=aspect.blinking or said.blinking)
            for aspect, said in zip(aspects, line.aspects, strict=True)
        )
    repeaters = tuple(w.text for w in line.repeaters if bench.names.claim(w, REPEATER))
    return Signal(
        signal.name, signal.before, signal.beyond, line.shunt, aspects, signal.span, repeaters
    )


def _on_one_output(
    signal: str,
    aspects: tuple[Aspect, ...],
    line: t.SignalLine,
    outlet: t.Outlet,
    bench: Bench,
) -> tuple[Aspect, ...]:
    """The aspects of a signal that one output shows: by its two sides, or by values."""
    found = bench.names.found
    if any(a.lamps for a in line.aspects):
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


# ----------------------------------------------------------------------- lamps


def _lit(signal: str, said: Sequence[t.Aspect], bench: Bench) -> tuple[Aspect, ...]:
    """The aspects of a signal with the lamps that each of them lights."""
    found = bench.names.found
    own: dict[Wire, t.LitLamp] = {}
    lit: list[tuple[LitLamp, ...]] = []
    shown: dict[frozenset[Wire], t.Aspect] = {}
    for aspect in said:
        lamps = tuple(_lamps(signal, aspect, own, bench))
        wires = frozenset((lamp.output, lamp.side) for lamp in lamps)
        # An aspect of which a lamp is missing lacks it for a reason that has been reported.
        first = shown.setdefault(wires, aspect) if len(lamps) == len(aspect.lamps) else aspect
        if lamps and first is not aspect:
            found.report(
                "E322",
                f"`{first.name}` and `{aspect.name}` light the same lamps, and nobody could tell "
                "one from the other",
                aspect.lamps[0].span.to(aspect.lamps[-1].span),
                expected="other lamps for each aspect",
                related=[(first.lamps[0].span, f"`{first.name}` lights them")],
            )
        _report_not_together(aspect, lamps, bench)
        lit.append(lamps)
    orders = _in_order(lit, bench)
    return tuple(
        _aspect(aspect.name.text, lamps) for aspect, lamps in zip(said, orders, strict=True)
    )


def _aspect(name: str, lamps: Sequence[LitLamp]) -> Aspect:
    if not lamps:
        return Aspect(name)
    first, *others = lamps
    return Aspect(name, first.output, first.side, None, first.blinking, tuple(others))


def _lamps(
    signal: str, aspect: t.Aspect, own: dict[Wire, t.LitLamp], bench: Bench
) -> list[LitLamp]:
    """The lamps of one aspect, except those that cannot be wired so, which is reported.

    own: all lamps of the signal so far, by what they are wired to; those of this aspect are
        added. A lamp may be lit in several aspects.
    """
    found = bench.names.found
    lamps: dict[Wire, LitLamp] = {}
    for said in aspect.lamps:
        wire = _wire(signal, said, own, bench)
        if wire is None:
            continue
        first = own.setdefault(wire, said)
        if wire in lamps:
            found.report(
                "E322",
                f"`{aspect.name}` lights the lamp at {said} twice",
                said.span,
                expected="each lamp once",
            )
        elif first.blinking != said.blinking:
            found.report(
                "E322",
                f"the lamp at {said} blinks in one aspect and not in another, and what is sent "
                "to it is the same",
                said.span,
                expected="`blinking` each time, or a side of its own for the one that blinks",
                related=[(first.span, "the other aspect lights it here")],
            )
        else:
            lamps[wire] = LitLamp(*wire, said.blinking)
    return list(lamps.values())


def _wire(signal: str, lamp: t.LitLamp, own: dict[Wire, t.LitLamp], bench: Bench) -> Wire | None:
    kind = bench.kind_of(lamp.output)
    if kind is not None and report_sides_on_extended(kind, lamp, bench.names.found):
        return None
    side = side_named(lamp.side, "E322", bench.names.found)
    if side is None:
        return None
    if isinstance(lamp.output, t.Output):
        ref = bench.resolve(lamp.output)
        if ref is None or (ref, side) in own:
            return None if ref is None else (ref, side)
    ref = bench.take(signal, lamp.output, (side,))
    return None if ref is None else (ref, side)


def _report_not_together(aspect: t.Aspect, lamps: Sequence[LitLamp], bench: Bench) -> None:
    """Report the first lamp that puts out another one of its own aspect, if there is any."""
    if len(lamps) != len(aspect.lamps):
        return
    for index, lamp in enumerate(lamps):
        kind = bench.decoders[lamp.output.decoder].kind
        for other in lamps[:index]:
            if not goes_out(kind.lamps, lamp.output, other.output):
                continue
            one = "one side of an output" if kind.lamps == "paired" else "one lamp of a signal"
            apart = (
                "for each lamp an output of its own"
                if kind.lamps == "paired"
                else "for each lamp a decoder of its own"
            )
            bench.names.found.report(
                "E322",
                f"{kind.name} lights {one} at a time (`lamps {kind.lamps}`), so `{aspect.name}` "
                f"cannot light {other.output} {other.side} and {lamp.output} {lamp.side} together",
                aspect.lamps[index].span,
                expected=f"{apart}, or a kind with `lamps alone` if both can be lit",
            )
            return


def _in_order(lit: Sequence[Sequence[LitLamp]], bench: Bench) -> list[list[LitLamp]]:
    """For each aspect its lamps in the order in which they are lit.

    lit: of each aspect, the least permissive first.
    """
    wires = tuple(tuple((lamp.output, lamp.side) for lamp in lamps) for lamps in lit)
    rules = frozenset(
        (ref.decoder, bench.decoders[ref.decoder].kind.lamps) for lamps in wires for ref, _ in lamps
    )
    ordered = []
    for place, lamps in enumerate(lit):
        by_wire = dict(zip(wires[place], lamps, strict=True))
        ordered.append([by_wire[wire] for wire in lit_in_order(wires, place, rules)])
    return ordered
