"""Output numbers, decoder addresses and the switches that set them.

Output number n >= 1 belongs to decoder address (n-1) div 4 + 1 and is its
pair (n-1) mod 4: the numbering people use with basic accessory packets
(common practice).
"""

from __future__ import annotations

LOWEST_OUTPUT = 1

HIGHEST_OUTPUT = 2040
"""The last output number whose packet is an ordinary one. Numbers 2041 to
2044 belong to decoder address 511, whose packets are the broadcast to all
basic accessory decoders (NMRA S-9.2.1: first byte 10111111, second byte
1000CDDD)."""


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


def switch_value(address: int, outputs: int, *, count_decoders: bool, first: int) -> int | None:
    """The value that a decoder's switches must show, or None if none would do.

    address: the number of the decoder's first output.
    outputs: how many outputs it has.
    count_decoders: whether the switches count whole decoders, not outputs.
    first: the value that stands for number 1 (0 or 1).
    """
    if count_decoders:
        if (address - 1) % outputs:
            return None
        return (address - 1) // outputs + first
    return address - 1 + first


def switches(value: int, count: int, *, inverted: bool = False) -> tuple[bool, ...]:
    """Which of `count` switches are on to show a value, the first switch first.

    Switch k, counted from 1, weighs 2^(k-1) (common practice). With `inverted`
    a switch counts when it is off. Raises ValueError if they cannot show it.
    """
    if not 0 <= value < 1 << count:
        raise ValueError(f"{count} switches cannot show {value}")
    return tuple(bool(value >> k & 1) != inverted for k in range(count))
