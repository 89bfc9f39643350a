"""Basic accessory packets (NMRA S-9.2.1, Extended Packet Formats)."""

from __future__ import annotations

from bellcrank.hardware.addresses import pair_of_output


def basic_accessory(output: int, *, green: bool, activate: bool = True) -> bytes:
    """The three bytes that throw one side of an output.

    Format `10AAAAAA 1AAACDDD EEEEEEEE`: nine address bits, the low six in the
    first byte, the high three inverted in the second; C activates; the upper
    two of DDD are the pair, the lowest is 1 for the green side (straight,
    proceed) and 0 for the red; the last byte is the exclusive or of the two
    before it (NMRA S-9.2). Output numbers as in `addresses`. Raises ValueError
    for an output number outside 1 to 2048.
    """
    decoder, pair = pair_of_output(output)
    first = 0b1000_0000 | decoder & 0b11_1111
    high = ~(decoder >> 6) & 0b111
    second = 0b1000_0000 | high << 4 | activate << 3 | pair << 1 | green
    return bytes((first, second, first ^ second))
