"""Addresses for decoders that state none; detectors and their inputs go the same way.

Plain arithmetic on numbers: which outputs are taken, and where each decoder could
begin. Sets of numbers are bits of one integer, bit n for the number n, so that
hundreds of decoders are placed in a moment.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from bellcrank.hardware.addresses import HIGHEST_OUTPUT


@dataclass(frozen=True, slots=True)
class Wanted:
    """A decoder that wants an address.

    outputs: how many numbers it takes, from its address on.
    addresses: the addresses that it could be set to, as bits.
    """

    outputs: int
    addresses: int


def bits(numbers: Iterable[int]) -> int:
    """Numbers as the bits of one integer."""
    value = 0
    for number in numbers:
        value |= 1 << number
    return value


def assign(
    wanted: Iterable[Wanted], taken: Iterable[int], highest: int = HIGHEST_OUTPUT
) -> tuple[int | None, ...]:
    """An address for each decoder: the lowest at which all its outputs are free.

    wanted: in order; who comes first has the first choice, so that one more at the end
        moves none of the others.
    taken: the numbers that other decoders answer to.
    highest: the highest number that there is.
    Returns the addresses in the same order, None where there is no room.
    """
    free = ((2 << highest) - 2) & ~bits(taken)
    placed: list[int | None] = []
    for decoder in wanted:
        fits = room(free, decoder)
        if not fits:
            placed.append(None)
            continue
        address = (fits & -fits).bit_length() - 1
        placed.append(address)
        free &= ~(((1 << decoder.outputs) - 1) << address)
    return tuple(placed)


def room(free: int, decoder: Wanted) -> int:
    """The addresses, as bits, at which a decoder has free numbers for all its outputs."""
    in_a_row = 1
    while in_a_row < decoder.outputs:
        # Where n are free, and n more from the n-th on, 2 n are.
        step = min(in_a_row, decoder.outputs - in_a_row)
        free &= free >> step
        in_a_row += step
    return free & decoder.addresses
