"""Outputs for things that no route needs: lights, gates, uncouplers.

They have a name and are commanded by it. Locking and proof know nothing of them.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import cast

from bellcrank.diagnostics import Noun
from bellcrank.layout.decoders import SIDES, Bench, side_named
from bellcrank.layout.layout_model import Action, NamedOutput, Side
from bellcrank.layout.pulses import pulse_made
from bellcrank.layout.quantities import milliseconds
from bellcrank.syntax import tree as t

OUTPUT = Noun("an", "output")

STATES = ("on", "off")
"""What the green and the red side bring about where the layout does not say."""


def build_outputs(lines: Iterable[t.OutputLine], bench: Bench) -> dict[str, NamedOutput]:
    """The outputs with names of their own."""
    outputs: dict[str, NamedOutput] = {}
    for line in lines:
        sound = bench.names.claim(line.name, OUTPUT)
        made = _output(line, bench)
        if sound and made is not None:
            outputs[made.name] = made
    return outputs


def _output(line: t.OutputLine, bench: Bench) -> NamedOutput | None:
    found = bench.names.found
    sides = _sides(line, bench)
    kind = bench.kind_of(line.output)
    if kind is not None and kind.packets == "extended":
        found.report(
            "E612",
            f"{kind.name} listens to extended packets; its outputs have no sides",
            line.output.span,
            expected=f"for {line.name} an output of a kind with `packets basic`",
        )
        return None
    ref = bench.take(line.name.text, line.output, sides)
    time = milliseconds(line.duration, found) if line.duration else None
    if line.duration and time is None:
        return None
    action = cast(Action, line.action.text) if line.action else None
    if action == "coil" and time is not None:
        assert line.duration is not None
        kinds = [kind] if kind is not None else []
        time = pulse_made(line.name.text, line.duration, time, kinds, found)
    names = [word.text for word in line.states] or list(STATES[: len(sides)])
    if len(names) != len(sides) or len(set(names)) != len(names):
        found.report(
            "E609",
            f"{line.name} has {len(sides)} side{'s' if len(sides) > 1 else ''}, and "
            f"{len(set(names))} of its states {'is' if len(set(names)) == 1 else 'are'} named",
            line.states[0].span.to(line.states[-1].span),
            expected="a state for each side, such as `with open, closed`"
            if len(sides) > 1
            else "one state, such as `with pulled`",
        )
        return None
    if ref is None:
        return None
    states = dict(zip(names, sides, strict=True))
    return NamedOutput(line.name.text, ref, states, action, time, line.span)


def _sides(line: t.OutputLine, bench: Bench) -> tuple[Side, ...]:
    """The sides that are used: both, or the one that is named."""
    if line.side is None:
        return SIDES
    side = side_named(line.side, "E609", bench.names.found)
    return SIDES if side is None else (side,)
