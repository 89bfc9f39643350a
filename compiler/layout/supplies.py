"""Supplies: what they feed, what they can bear, and whether that is enough."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from itertools import accumulate

from bellcrank.diagnostics import Collector, Noun
from bellcrank.layout.amounts import (
    CAPACITANCE,
    CURRENT,
    LENGTH,
    RESISTANCE,
    VOLTAGE,
    amount,
    has_unit_of,
    in_amperes,
)
from bellcrank.layout.decoders import DECODER, Bench
from bellcrank.layout.layout_model import Supply, Wiring
from bellcrank.layout.quantities import in_words, milliseconds, number
from bellcrank.syntax import tree as t

SUPPLY = Noun("a", "supply")

TIME_CONSTANTS = 5
"""After so many time constants R·C a capacitor is charged to over 99 % of the voltage it is charged
from: 1 - exp(-5) = 0.993."""


def build_supplies(
    lines: Iterable[t.SupplyLine], wirings: Mapping[str, Wiring], bench: Bench
) -> dict[str, Supply]:
    """The supplies, each decoder fed by one at most."""
    names = bench.names
    supplies: dict[str, Supply] = {}
    fed: dict[str, t.Word] = {}
    for line in lines:
        sound = names.claim(line.name, SUPPLY)
        feeds = _feeds(line, fed, bench)
        at_a_time = rest = None
        if line.at_a_time is not None:
            at_a_time = number(line.at_a_time, "a count of drives", 1, 256, names.found)
        if line.rest is not None:
            rest = milliseconds(line.rest, names.found)
        volts, amperes = what_is_given(line.name, line.gives, names.found)
        fuse = amount(line.fuse, CURRENT, names.found) if line.fuse else None
        charging = _charging(line, names.found)
        wires = amount(line.wires, LENGTH, names.found) if line.wires else None
        if not sound:
            continue
        thrown = [w for w in wirings.values() if any(o.decoder in feeds for o in w.outputs)]
        _check_motors(line, at_a_time or (1 if rest else None), thrown, names.found)
        if amperes is not None:
            at_a_time = _at_a_time(line, at_a_time, amperes, thrown, names.found)
            if line.fuse is not None:
                check_fuse(line.name, line.fuse, fuse, amperes, names.found)
        _check_charging(line, charging, rest, names.found)
        name = line.name.text
        supplies[name] = Supply(
            name, tuple(feeds), at_a_time, rest, line.span, volts, amperes, fuse, charging, wires
        )
    return supplies


def _feeds(line: t.SupplyLine, fed: dict[str, t.Word], bench: Bench) -> list[str]:
    """The decoders that a supply feeds. fed: those that were fed before; these are added."""
    names = bench.names
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
    return feeds


def what_is_given(
    name: t.Word, gives: Iterable[t.Word], found: Collector
) -> tuple[int | None, int | None]:
    """Millivolts and milliamperes that a supply or booster gives, each None if not said."""
    said: dict[str, int | None] = {}
    for word in gives:
        quantity = VOLTAGE if has_unit_of(word, VOLTAGE) else CURRENT
        if quantity.name in said:
            found.report(
                "E614",
                f"{quantity.name} of {name} is said twice",
                word.span,
                expected="a voltage and a current, such as `gives 16 V, 3 A`",
            )
        said.setdefault(quantity.name, amount(word, quantity, found))
    return said.get(VOLTAGE.name), said.get(CURRENT.name)


def _charging(line: t.SupplyLine, found: Collector) -> int | None:
    """Milliseconds in which the capacitor is charged again through its resistor."""
    if not line.capacitor:
        return None
    microfarads = amount(line.capacitor[0], CAPACITANCE, found)
    milliohms = amount(line.capacitor[1], RESISTANCE, found)
    if microfarads is None or milliohms is None:
        return None
    return math.ceil(TIME_CONSTANTS * microfarads * milliohms / 1_000_000)


def _check_motors(
    line: t.SupplyLine, at_a_time: int | None, thrown: Sequence[Wiring], found: Collector
) -> None:
    """Report a drive with more motors at its fittings than its supply can throw at once."""
    for wiring in thrown:
        if at_a_time is not None and wiring.motors > at_a_time:
            found.report(
                "E610",
                f"{line.name} throws {at_a_time} at a time, and {wiring.drive} throws "
                f"{wiring.motors} at once",
                (line.at_a_time or line.name).span,
                expected=f"`{wiring.motors} at a time`, if the supply can do that",
                related=[(wiring.span, f"{wiring.drive} has one at each of its fittings")],
            )


def _at_a_time(
    line: t.SupplyLine,
    stated: int | None,
    amperes: int,
    thrown: Sequence[Wiring],
    found: Collector,
) -> int | None:
    """How many may be thrown at once: what is stated, else what the current allows, whichever
    drives they are; None if that follows from nothing. Reports what takes too much.
    """
    motors = sorted(
        (wiring for wiring in thrown for _ in range(wiring.motors)),
        key=lambda wiring: -(wiring.takes or 0),
    )
    taken = [*accumulate(wiring.takes or 0 for wiring in motors)]
    if stated is not None:
        most = taken[: min(stated, len(taken))]
        if most and most[-1] > amperes:
            at_once = dict.fromkeys(wiring.drive for wiring in motors[: len(most)])
            fits = sum(each <= amperes for each in taken)
            found.report(
                "W870",
                f"{line.name} gives {in_amperes(amperes)}; {', '.join(at_once)} at once take "
                f"{in_amperes(most[-1])}",
                (line.at_a_time or line.name).span,
                hint=f"write `{fits} at a time`" if fits
                else "find a supply that gives more, or feed fewer from this one",
            )  # fmt: skip
        return stated
    if not motors or any(wiring.takes is None for wiring in thrown):
        return None
    fits = sum(each <= amperes for each in taken)
    if fits < max(wiring.motors for wiring in thrown):
        wiring = max(thrown, key=lambda wiring: (wiring.takes or 0) * wiring.motors)
        needs = (wiring.takes or 0) * wiring.motors
        found.report(
            "W870",
            f"{line.name} gives {in_amperes(amperes)}; {wiring.drive} alone takes "
            f"{in_amperes(needs)}",
            line.gives[0].span.to(line.gives[-1].span),
            hint="find a supply that gives more, or say what the drive really takes",
        )
        return max(wiring.motors for wiring in thrown)
    return fits


def check_fuse(
    name: t.Word, said: t.Word, fuse: int | None, amperes: int, found: Collector
) -> None:
    """Warn of a fuse that bears more than a supply or booster gives."""
    if fuse is not None and fuse > amperes:
        found.report(
            "W871",
            f"a fuse of {in_amperes(fuse)} does not blow for a short circuit that takes the "
            f"{in_amperes(amperes)} which {name} gives",
            said.span,
            hint=f"write `fuse {in_amperes(amperes)}`, and fit one of no more than that",
        )


def _check_charging(
    line: t.SupplyLine, charging: int | None, rest: int | None, found: Collector
) -> None:
    if charging is not None and (rest or 0) < charging:
        found.report(
            "W872",
            f"the capacitor of {line.name} takes {in_words(charging)} to be charged again, and "
            + (f"rests for {in_words(rest)}" if rest else "has no `rest`"),
            line.capacitor[0].span.to(line.capacitor[1].span),
            hint=f"write `rest {in_words(charging)}`",
        )
