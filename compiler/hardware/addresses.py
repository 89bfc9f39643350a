"""Output numbers, decoder addresses and the switches that set them.

Output number n >= 1 belongs to decoder address (n-1) div 4 + 1 and is its
pair (n-1) mod 4: the numbering people use with basic accessory packets
(common practice).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType

NOTHING_FIXED: Mapping[int, bool] = MappingProxyType({})

LOWEST_OUTPUT = 1

HIGHEST_OUTPUT = 2040
"""The last output number whose packet is an ordinary one. Numbers 2041 to
2044 belong to decoder address 511, whose packets are the broadcast to all
basic accessory decoders (NMRA S-9.2.1: first byte 10111111, second byte
1000CDDD)."""

OUTPUT_NUMBERS = range(LOWEST_OUTPUT, HIGHEST_OUTPUT + 1)

INPUT_NUMBERS = range(1, 10_000)
"""No standard bounds the numbers of inputs as packets bound those of outputs; four figures are
what equipment shows (common practice)."""


def pair_of_output(output: int, first_decoder: int = 1) -> tuple[int, int]:
    """The decoder address and the pair on it (0 to 3) of an output number.

    first_decoder: the address of the decoder that has outputs 1 to 4, 0 or 1. Equipment
        differs by this one decoder, four outputs (RCN-213, from memory).
    Raises ValueError for numbers below 1 or above 2048, which nine address
    bits and four pairs cannot tell apart.
    """
    if not 1 <= output <= 2048:
        raise ValueError(f"output number {output} is not in 1 to 2048")
    return (output - 1) // 4 + first_decoder, (output - 1) % 4


def output_of_pair(decoder: int, pair: int, first_decoder: int = 1) -> int:
    """The output number of a pair on a decoder: `pair_of_output` the other way round.

    The nine address bits of a packet count round: with outputs counted from decoder 1
    those of decoder 0 are the last four.
    """
    return (decoder - first_decoder) % 512 * 4 + pair + 1


def switch_value(address: int, step: int, first: int) -> int | None:
    """The value that a decoder's switches must show, or None if none would do.

    address: the number of the decoder's first output.
    step: how many numbers one more of the value stands for: 1 if the switches count outputs,
        the number of its outputs if they count whole decoders, 4 if they count the groups of
        four that basic packets address (NMRA S-9.2.1).
    first: the value that stands for number 1.
    """
    if (address - 1) % step:
        return None
    return (address - 1) // step + first


def binary_weights(count: int) -> tuple[int, ...]:
    """What switches count where nothing else is said: switch k, counted from 1, counts
    2^(k-1) (common practice)."""
    return tuple(1 << k for k in range(count))


def switches(
    value: int,
    weights: Sequence[int],
    *,
    fixed: Mapping[int, bool] = NOTHING_FIXED,
    inverted: bool = False,
) -> tuple[bool, ...] | None:
    """Which switches are on to show a value, the first switch first; None if none would do.

    weights: what each switch counts, none below 0. Where several settings show the
        value, it is the one with the heaviest switches: of 1, 2, 4, 8, 10, 20 those of
        10 and 2 show 12, not those of 8 and 4.
    fixed: switches that are not for the address, by their number from 1, and whether they
        stand on. They count nothing.
    inverted: whether a switch counts when it is off.
    """
    counts = [0 if k in fixed else weight for k, weight in enumerate(weights, start=1)]
    shown = digits(value, counts, 2)
    if shown is None:
        return None
    return tuple(fixed.get(k, (digit == 1) != inverted) for k, digit in enumerate(shown, start=1))


def digit_weights(count: int, base: int) -> tuple[int, ...]:
    """What one step of each rotary switch counts where nothing else is said: they are read as
    figures are, the first switch counting most (common practice)."""
    return tuple(base**k for k in reversed(range(count)))


def digits(value: int, weights: Sequence[int], base: int) -> tuple[int, ...] | None:
    """What each switch shows, from 0 to base - 1, so that together they show a value; None if
    they cannot.

    weights: what one step of each switch counts, none below 0. Where several settings show the
        value, it is the one in which the heaviest switches show most.
    """
    if value < 0:
        return None
    order = sorted((k for k, w in enumerate(weights) if w), key=lambda k: (-weights[k], k))
    # What the switches from each place of the order on can show.
    rest = [1]
    for k in reversed(order):
        rest.append(_and_with(rest[-1], weights[k], value, base))
    rest.reverse()
    if not rest[0] >> value & 1:
        return None
    shown = [0] * len(weights)
    for k, after in zip(order, rest[1:], strict=True):
        shown[k] = next(
            digit
            for digit in reversed(range(base))
            if value >= digit * weights[k] and after >> value - digit * weights[k] & 1
        )
        value -= shown[k] * weights[k]
    return tuple(shown)


def settable(weights: Iterable[int], highest: int, base: int = 2) -> int:
    """The values up to a highest that switches can show: bit v is set for the value v.

    base: in how many positions each switch stands.
    """
    values = 1
    for weight in weights:
        values = _and_with(values, weight, highest, base)
    return values


def _and_with(values: int, weight: int, highest: int, base: int) -> int:
    """The values that can be shown, up to a highest, with one switch more."""
    shown = values
    for digit in range(1, base):
        shown |= values << digit * weight
    return shown & ((2 << highest) - 1)
