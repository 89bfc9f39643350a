"""A yard whose drives are wired at random: decoders, supplies, pulses, rests."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache

from sound_layouts import compiled

from bellcrank import Sound
from bellcrank.layout.layout_model import (
    Decoder,
    DecoderKind,
    Hardware,
    Layout,
    OutputRef,
    Supply,
    Wiring,
)

YARD = """
points P1, P2, P3, P4
three way points W
run edge WEST - A - >H - P1.toe
run P1.straight - P2.toe
run P1.diverging - <S1 - T1 - stop
run P2.straight - W.toe
run P2.diverging - <S2 - T2 - stop
run W.left - P3.toe
run W.straight - <S3 - T3 - stop
run W.right - <S4 - T4 - stop
run P3.straight - P4.toe
run P3.diverging - <S5 - T5 - stop
run P4.straight - <S6 - T6 - stop
run P4.diverging - <S7 - T7 - stop
"""
"""A route in at the home leads over six drives at most."""


@cache
def yard() -> Sound:
    return compiled(YARD)


def wired(seed: int, *, by_hand: bool = True) -> Layout:
    """The yard with hardware that differs with the seed; some drives thrown by hand and
    some that report, unless it is said that none is by hand."""
    r = random.Random(seed)
    layout = yard().layout
    assert layout
    span = layout.drives["P1"].span
    kind = DecoderKind("rack", 8, 0, "outputs", 1, False, 1, 2040)
    decoders = {f"K{n}": Decoder(f"K{n}", kind, 1 + 8 * n, span) for n in range(3)}
    free = dict.fromkeys(decoders, 1)
    wirings, drives = {}, {}
    for name, drive in layout.drives.items():
        drives[name] = replace(drive, detected=r.random() < 0.2)
        if by_hand and r.random() < 0.15:
            wirings[name] = Wiring(name, (), None, None, False, span)
            continue
        decoder = r.choice(list(decoders))
        output = OutputRef(decoder, free[decoder])
        free[decoder] += 1
        action = r.choice(["coil", "coil", "motor", "servo", None])
        time = r.choice([100, 150, 200, 330, 1500]) if action else None
        settles = r.choice([None, None, 120, 400, 2000])
        rests = r.choice([None, 500, 3000])
        wirings[name] = Wiring(name, (output,), action, time, False, span, settles, rests)
    feeds = r.choice([["K0", "K1", "K2"], ["K0", "K1"], ["K0"], []])
    supplies = {}
    if feeds:
        halves = [feeds] if r.random() < 0.6 else [feeds[:1], feeds[1:]]
        for number, half in enumerate(halves):
            if half:
                name = f"SUPPLY{number}"
                supplies[name] = Supply(
                    name,
                    tuple(half),
                    r.choice([None, 1, 1, 2, 3]),
                    r.choice([None, 0, 80, 250, 1000]),
                    span,
                )
    return replace(layout, drives=drives, hardware=Hardware(decoders, wirings, supplies))


def blades(layout: Layout, route: str) -> list[tuple[str, str]]:
    """The blade of the three way points that must lie before the other is thrown."""
    table = yard().table
    assert table
    demands = table.routes[route].demands
    both = ("W.to_left", "W.to_right")
    for first, then in (both, both[::-1]):
        if demands.get(first) == "straight" and demands.get(then) == "diverging":
            return [(first, then)]
    return []
