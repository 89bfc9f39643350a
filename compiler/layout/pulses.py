"""How long coils are really on: what heats them, and what decoders can time."""

from __future__ import annotations

from collections.abc import Iterable

from bellcrank.diagnostics import Collector
from bellcrank.layout.layout_model import DecoderKind
from bellcrank.layout.variables import HIGHEST_CONTENT
from bellcrank.syntax import tree as t

LONGEST_PULSE = 500
"""Milliseconds a coil is commonly given at most; left on it overheats (common practice)."""

MUCH_LONGER = 10
"""A pulse that is longer than stated by one part in so many is worth a word."""


def pulse_made(
    name: str, said: t.Word, pulse: int, kinds: Iterable[DecoderKind], found: Collector
) -> int:
    """The milliseconds for which a coil is on: as stated, or as the steps of its decoder make them.

    Reports a pulse that would overheat it, or that a variable cannot hold.
    """
    if pulse > LONGEST_PULSE:
        found.report(
            "E611",
            f"a coil held on for {pulse} ms overheats",
            said.span,
            expected=f"100 to {LONGEST_PULSE} ms is common practice for a coil",
        )
        return pulse
    made = pulse
    for kind in kinds:
        times = kind.variables.on_times if kind.variables else None
        if times is None:
            continue
        steps = times.steps(pulse)
        if steps > HIGHEST_CONTENT or steps * times.step > LONGEST_PULSE:
            most = min(HIGHEST_CONTENT, LONGEST_PULSE // times.step) * times.step
            found.report(
                "E611",
                f"{kind.name} cannot time a pulse of {pulse} ms: its time goes in steps of "
                f"{times.step} ms",
                said.span,
                expected=f"at most {most} ms" if most else "a kind of decoder with shorter steps",
            )
            return pulse
        made = max(made, steps * times.step)
    if (made - pulse) * MUCH_LONGER > pulse:
        found.report(
            "W882",
            f"the coil of {name} is on for {made} ms, not for {pulse} ms: its time goes in steps",
            said.span,
            hint=f"write `coil {made} ms`, or give the decoder shorter steps if it has them",
        )
    return made
