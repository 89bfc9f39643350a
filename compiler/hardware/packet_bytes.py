"""Accessory packets: their bytes and their bits, made and read.

NMRA S-9.2.1, Extended Packet Formats, sections on accessory decoders; the framing is
that of NMRA S-9.2. Numbers of outputs are turned into addresses in `addresses`.
"""

from __future__ import annotations

from dataclasses import dataclass

from bellcrank.hardware.addresses import pair_of_output

SHORTEST_PREAMBLE = 14
"""One-bits before the first byte, at least (NMRA S-9.2)."""

ONE_HALF, ZERO_HALF = 58, 100
"""Microseconds of half a bit on the track, nominally (NMRA S-9.1)."""

BROADCAST_DECODER = 511
"""The address to which every basic accessory decoder listens: first byte 10111111,
second byte 1000CDDD (NMRA S-9.2.1)."""


class PacketError(ValueError):
    """Bytes or bits that are not an accessory packet, with the reason as a sentence."""


@dataclass(frozen=True, slots=True)
class Basic:
    """A packet that switches one side of one output.

    decoder: 0 to 511; 511 is every decoder. pair: 0 to 3. green: the side, green for
    straight and proceed (RCN-213, from memory). activate: switched on, or off.
    """

    decoder: int
    pair: int
    green: bool
    activate: bool


@dataclass(frozen=True, slots=True)
class Extended:
    """A packet that has a decoder show an aspect. address: 0 to 2047. aspect: 0 to 255,
    0 is stop."""

    address: int
    aspect: int


def encode(packet: Basic | Extended) -> bytes:
    """The bytes of a packet, the last of them the exclusive or of those before.

    Basic: `10AAAAAA 1AAACDDD EEEEEEEE`. Of nine address bits the low six stand in the
    first byte, the high three inverted in the second; C activates; the upper two of
    DDD are the pair, the lowest is 1 for green.

    Extended: `10AAAAAA 0AAA0AA1 XXXXXXXX EEEEEEEE`. Of eleven address bits the lowest
    two stand beside the last 1, the others as those of a basic packet; X is the aspect.

    Raises ValueError for numbers that a packet has no room for.
    """
    if isinstance(packet, Basic):
        _within("decoder", packet.decoder, 511)
        _within("pair", packet.pair, 3)
        high = ~(packet.decoder >> 6) & 0b111
        said = bytes(
            (
                0b1000_0000 | packet.decoder & 0b11_1111,
                0b1000_0000 | high << 4 | packet.activate << 3 | packet.pair << 1 | packet.green,
            )
        )
    else:
        _within("address", packet.address, 2047)
        _within("aspect", packet.aspect, 255)
        upper, lower = packet.address >> 2, packet.address & 0b11
        high = ~(upper >> 6) & 0b111
        said = bytes((0b1000_0000 | upper & 0b11_1111, high << 4 | lower << 1 | 1, packet.aspect))
    return said + bytes((_error_byte(said),))


def decode(data: bytes) -> Basic | Extended:
    """The packet that some bytes are.

    Raises PacketError if they are none, or if the error byte is not right.
    """
    if len(data) not in (3, 4):
        raise PacketError(f"an accessory packet has 3 or 4 bytes, not {len(data)}")
    if _error_byte(data[:-1]) != data[-1]:
        raise PacketError(
            f"the error byte is {data[-1]:02X}, and {_error_byte(data[:-1]):02X} would be right"
        )
    first, second = data[0], data[1]
    if first >> 6 != 0b10:
        raise PacketError(f"the first byte {first:02X} does not begin with 10")
    upper = (~(second >> 4) & 0b111) << 6 | first & 0b11_1111
    if second & 0b1000_0000:
        if len(data) != 3:
            raise PacketError("a basic accessory packet has 3 bytes")
        return Basic(upper, second >> 1 & 0b11, bool(second & 1), bool(second & 0b1000))
    if len(data) != 4:
        raise PacketError("an extended accessory packet has 4 bytes")
    if second & 0b1001 != 1:
        raise PacketError(f"the second byte {second:02X} is not of the form 0AAA0AA1")
    return Extended(upper << 2 | second >> 1 & 0b11, data[2])


def variable_write(
    output: int,
    variable: int,
    value: int,
    *,
    of_output: bool = False,
    extended: bool = False,
    first_decoder: int = 1,
) -> bytes:
    """The bytes that write a configuration variable of an accessory decoder while it is in use
    (operations mode; NMRA S-9.2.1, accessory decoder configuration variable access, from memory).

    Basic: `10AAAAAA 1AAACDDD 1110CCVV VVVVVVVV DDDDDDDD EEEEEEEE`; CDDD is 0 for the whole
    decoder, else C is 1 and DDD the output. Extended: `10AAAAAA 0AAA0AA1` before the same. CC is
    11 to write a byte; V is the number of the variable less 1, D what it is to hold.

    output: the number of the decoder's first output. of_output: whether the decoder is addressed by
    its output. Raises ValueError for numbers that a packet has no room for.
    """
    _within("variable", variable - 1, 1023)
    _within("value", value, 255)
    decoder, pair = pair_of_output(output, first_decoder)
    decoder %= 512
    if extended:
        address = encode(Extended(decoder << 2 | pair, 0))[:2]
    elif of_output:
        address = encode(Basic(decoder, pair, green=False, activate=True))[:2]
    else:
        address = encode(Basic(decoder, 0, green=False, activate=False))[:2]
    high, low = divmod(variable - 1, 256)
    said = address + bytes((0b1110_1100 | high, low, value))
    return said + bytes((_error_byte(said),))


def bits(data: bytes, preamble: int = SHORTEST_PREAMBLE) -> str:
    """Bytes as they go over the track: a preamble of ones, a 0 before each byte, its
    bits from the highest on, and a last 1 (NMRA S-9.2).

    Raises ValueError for a preamble that is too short.
    """
    if preamble < SHORTEST_PREAMBLE:
        raise ValueError(f"a preamble has {SHORTEST_PREAMBLE} ones at least, not {preamble}")
    return "1" * preamble + "".join(f"0{byte:08b}" for byte in data) + "1"


def track_time(data: bytes) -> int:
    """How many microseconds bytes take on the track, framed as by `bits`, by the nominal lengths
    of the bits (NMRA S-9.1): 58 µs for each half of a 1, 100 µs for each half of a 0."""
    said = bits(data)
    return 2 * (ONE_HALF * said.count("1") + ZERO_HALF * said.count("0"))


def bytes_of(said: str) -> bytes:
    """The bytes in a string of bits, framed as by `bits`.

    Raises PacketError if the framing is not right.
    """
    if said.strip("01"):
        raise PacketError("bits are 0 and 1 and nothing else")
    body = said.lstrip("1")
    if len(said) - len(body) < SHORTEST_PREAMBLE:
        raise PacketError(f"the preamble has fewer than {SHORTEST_PREAMBLE} ones")
    found = bytearray()
    while body.startswith("0"):
        if len(body) < 9:
            raise PacketError("it ends in the middle of a byte")
        found.append(int(body[1:9], 2))
        body = body[9:]
    if body != "1":
        raise PacketError("it does not end with a single 1")
    return bytes(found)


def basic_accessory(
    output: int, *, green: bool, activate: bool = True, first_decoder: int = 1
) -> bytes:
    """The bytes that switch one side of an output, known by its number.

    first_decoder: the address of the decoder that has outputs 1 to 4, 0 or 1. Raises
    ValueError for an output number for which there is no address.
    """
    decoder, pair = pair_of_output(output, first_decoder)
    return encode(Basic(decoder % 512, pair, green, activate))


def extended_accessory(output: int, aspect: int, *, first_decoder: int = 1) -> bytes:
    """The bytes that show an aspect on an output, known by its number, which counts
    four to a decoder as in basic packets.

    Raises ValueError for an output number for which there is no address.
    """
    decoder, pair = pair_of_output(output, first_decoder)
    return encode(Extended(decoder % 512 << 2 | pair, aspect))


def _error_byte(data: bytes) -> int:
    result = 0
    for byte in data:
        result ^= byte
    return result


def _within(what: str, value: int, most: int) -> None:
    if not 0 <= value <= most:
        raise ValueError(f"a packet has no {what} {value}; it may be 0 to {most}")
