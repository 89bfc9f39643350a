"""That a decoder which keeps one time for an output need keep no two for its two sides."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple

from bellcrank.diagnostics import Collector, Span
from bellcrank.layout.layout_model import (
    Decoder,
    Drive,
    NamedOutput,
    OutputRef,
    Signal,
    Wiring,
)
from bellcrank.layout.variables import STAYS_ON


class Timed(NamedTuple):
    """How long an output is to be on for something, in milliseconds; 0 if it is to stay on."""

    output: OutputRef
    milliseconds: int
    name: str
    span: Span


def times_needed(
    wirings: Iterable[Wiring],
    drives: Mapping[str, Drive],
    signals: Iterable[Signal],
    outputs: Iterable[NamedOutput],
) -> Iterator[Timed]:
    """How long each output is to be on, for each thing on it of which that is known."""
    for wiring in wirings:
        stays = wiring.held_on or drives[wiring.drive].frog is not None
        pulse = wiring.milliseconds if wiring.action == "coil" else None
        if stays or pulse:
            time = STAYS_ON if stays else pulse or STAYS_ON
            for ref in wiring.outputs:
                yield Timed(ref, time, wiring.drive, wiring.span)
    for signal in signals:
        for ref in dict.fromkeys(lamp.output for a in signal.aspects for lamp in a.lamps):
            yield Timed(ref, STAYS_ON, signal.name, signal.span)
    for named in outputs:
        if named.action is None:
            yield Timed(named.output, STAYS_ON, named.name, named.span)
        elif named.action == "coil" and named.milliseconds:
            yield Timed(named.output, named.milliseconds, named.name, named.span)


def check_times(needed: Iterable[Timed], decoders: Mapping[str, Decoder], found: Collector) -> None:
    """Report an output that is to be on for two times, where its decoder has a variable for one."""
    first: dict[OutputRef, Timed] = {}
    for timed in needed:
        variables = decoders[timed.output.decoder].kind.variables
        if variables is None or variables.on_times is None:
            continue
        other = first.setdefault(timed.output, timed)
        if other.milliseconds != timed.milliseconds:
            found.report(
                "E615",
                f"{timed.output} has one time for both its sides: {_words(other)}, and "
                f"{_words(timed)}",
                timed.span,
                expected="another output for one of the two",
                related=[(other.span, f"{other.name} is wired to it here")],
            )


def _words(timed: Timed) -> str:
    if timed.milliseconds == STAYS_ON:
        return f"{timed.name} is to stay on"
    return f"{timed.name} is to be on for {timed.milliseconds} ms"
