"""Which lamps of a signal are switched off and on when it is to show an aspect: first those go out
that the aspect does not light, then its own are lit one after the other. So a signal is dark, or
shows less, for a moment, rather than two aspects at once."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from bellcrank.layout.lamp_order import Rules, put_out
from bellcrank.layout.layout_model import Layout, OutputRef, Side


class Lamp(NamedTuple):
    """A side of an output that lights a lamp of a signal. number: of the output on the layout."""

    decoder: str
    output: int
    number: int
    side: Side


def lamp_at(layout: Layout, output: OutputRef, side: Side) -> Lamp:
    """The lamp on a side of an output."""
    return Lamp(*output, layout.hardware.number_of(output), side)


def lamps_lit_beside(layout: Layout, signal: str, shown: str) -> Iterator[Lamp]:
    """The lamps that an aspect lights beside its first one, in the order in which they are lit."""
    (aspect,) = (a for a in layout.signals[signal].aspects if a.name == shown)
    for lamp in aspect.beside:
        yield lamp_at(layout, lamp.output, lamp.side)


def lamps_put_out(layout: Layout, signal: str, shown: str) -> Iterator[Lamp]:
    """The lamps of a signal that must be switched off where it is to show an aspect, in the order
    in which they are.

    None if the aspect is shown by hand or by a value: whoever shows it puts the others out.
    """
    aspects = layout.signals[signal].aspects
    lit = tuple(tuple((lamp.output, lamp.side) for lamp in a.lamps) for a in aspects)
    place = [a.name for a in aspects].index(shown)
    for output, side in put_out(lit, place, _rules(layout, lit[place])):
        yield lamp_at(layout, output, side)


def _rules(layout: Layout, lit: tuple[tuple[OutputRef, Side], ...]) -> Rules:
    decoders = layout.hardware.decoders
    return frozenset((ref.decoder, decoders[ref.decoder].kind.lamps) for ref, _ in lit)
