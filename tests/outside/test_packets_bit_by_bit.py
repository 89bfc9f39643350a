"""Accessory packets against a construction bit by bit from the standard's format lines.

NMRA S-9.2.1, Extended Packet Formats: basic accessory decoders `10AAAAAA 1AAACDDD
EEEEEEEE`, extended ones `10AAAAAA 0AAA0AA1 XXXXXXXX EEEEEEEE`; framing NMRA S-9.2.
Here they are strings of characters, put together one by one and never shifted.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellcrank.hardware.addresses import output_of_pair
from bellcrank.hardware.packet_bytes import (
    BROADCAST_DECODER,
    Basic,
    Extended,
    PacketError,
    basic_accessory,
    bits,
    bytes_of,
    decode,
    encode,
    extended_accessory,
)


def binary(value: int, digits: int) -> str:
    """Digits of a number, the highest first, by taking halves."""
    found = ""
    for _ in range(digits):
        found = "01"[value % 2] + found
        value //= 2
    return found


def inverted(said: str) -> str:
    return said.translate(str.maketrans("01", "10"))


def parity(octets: list[str]) -> str:
    """Each bit is 1 where an odd number of the octets have one."""
    return "".join("01"[sum(o[i] == "1" for o in octets) % 2] for i in range(8))


def fill(form: str, letters: dict[str, str]) -> list[str]:
    """The octets of a format line, its letters taken from the fields in order."""
    left = {letter: list(field) for letter, field in letters.items()}
    octets = ["".join(left[c].pop(0) if c in left else c for c in o) for o in form.split()]
    assert not any(left.values())
    return [*octets, parity(octets)]


def basic_octets(decoder: int, pair: int, green: bool, activate: bool) -> list[str]:
    address = binary(decoder, 9)
    # The low six bits come first, then the high three, inverted.
    fields = {
        "A": address[3:] + inverted(address[:3]),
        "C": "01"[activate],
        "D": binary(pair, 2) + "01"[green],
    }
    return fill("10AAAAAA 1AAACDDD", fields)


def extended_octets(address: int, aspect: int) -> list[str]:
    digits = binary(address, 11)
    fields = {"A": digits[3:9] + inverted(digits[:3]) + digits[9:], "X": binary(aspect, 8)}
    return fill("10AAAAAA 0AAA0AA1 XXXXXXXX", fields)


def framed(octets: list[str]) -> str:
    return "1" * 14 + "".join("0" + o for o in octets) + "1"


def test_every_basic_packet_is_that_of_the_format_line_and_read_again() -> None:
    for decoder in range(512):
        for pair in range(4):
            for green in (False, True):
                for activate in (False, True):
                    packet = Basic(decoder, pair, green, activate)
                    data = encode(packet)
                    octets = basic_octets(decoder, pair, green, activate)
                    assert [f"{byte:08b}" for byte in data] == octets
                    assert decode(data) == packet
                    assert bytes_of(bits(data)) == data
                    assert bits(data) == framed(octets)


@pytest.mark.parametrize("first_decoder", [0, 1])
def test_all_outputs_sides_and_states_come_back_from_their_packets(first_decoder: int) -> None:
    seen = set()
    for output in range(1, 2049):
        for green in (False, True):
            for activate in (False, True):
                data = basic_accessory(
                    output, green=green, activate=activate, first_decoder=first_decoder
                )
                packet = decode(data)
                assert isinstance(packet, Basic)
                assert output_of_pair(packet.decoder, packet.pair, first_decoder) == output
                assert (packet.green, packet.activate) == (green, activate)
                seen.add(data)
    assert len(seen) == 2048 * 4


def test_all_extended_addresses_and_aspects_come_back_from_their_packets() -> None:
    for address in range(2048):
        octets = extended_octets(address, 0)
        assert [f"{byte:08b}" for byte in encode(Extended(address, 0))] == octets
        # Each aspect at some address, and at each address several aspects.
        for aspect in {0, 1, 255, address % 256, 255 - address % 256}:
            packet = Extended(address, aspect)
            assert [f"{b:08b}" for b in encode(packet)] == extended_octets(address, aspect)
            assert decode(encode(packet)) == packet
    for aspect in range(256):
        assert decode(encode(Extended(1234, aspect))) == Extended(1234, aspect)


def test_outputs_of_extended_packets_are_counted_like_those_of_basic_ones() -> None:
    for output in (1, 4, 5, 16, 2040):
        for first_decoder in (0, 1):
            extended = decode(extended_accessory(output, 3, first_decoder=first_decoder))
            basic = decode(basic_accessory(output, green=True, first_decoder=first_decoder))
            assert isinstance(extended, Extended) and isinstance(basic, Basic)
            assert divmod(extended.address, 4) == (basic.decoder, basic.pair)


@pytest.mark.parametrize(
    ("output", "green", "said"), [(16, True, "84 FF 7B"), (16, False, "84 FE 7A")]
)
def test_bytes_worked_by_hand(output: int, green: bool, said: str) -> None:
    """Output 16 is pair 3 of decoder 4 (worked by hand from the format line)."""
    assert basic_accessory(output, green=green).hex(" ").upper() == said


def test_the_packet_to_every_decoder_is_that_of_the_standard() -> None:
    """S-9.2.1: broadcast to basic accessory decoders `10111111 1000CDDD EEEEEEEE`."""
    for pair in range(4):
        data = encode(Basic(BROADCAST_DECODER, pair, green=True, activate=True))
        assert f"{data[0]:08b} {data[1]:08b}" == f"10111111 10001{pair:02b}1"


# ------------------------------------------------------------- what is no packet


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ("84 FF", "3 or 4 bytes, not 2"),
        ("84 FF 7A", "the error byte is 7A, and 7B would be right"),
        ("44 FF BB", "the first byte 44 does not begin with 10"),
        ("84 FF 00 7B", "a basic accessory packet has 3 bytes"),
        ("84 71 F5", "an extended accessory packet has 4 bytes"),
        ("84 7A 00 FE", "not of the form 0AAA0AA1"),
    ],
)
def test_bytes_that_are_no_accessory_packet_are_refused(data: str, said: str) -> None:
    with pytest.raises(PacketError, match=said):
        decode(bytes.fromhex(data))


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ("1" * 13 + "0" + "10000100" + "1", "fewer than 14 ones"),
        ("1" * 14 + "0" + "1000010", "in the middle of a byte"),
        ("1" * 14 + "0" + "10000100", "single 1"),
        ("1" * 14 + "0" + "10000100" + "11", "single 1"),
        ("1" * 14 + "0" + "1000010x" + "1", "0 and 1 and nothing else"),
    ],
)
def test_bits_that_are_not_framed_are_refused(said: str, why: str) -> None:
    with pytest.raises(PacketError, match=why):
        bytes_of(said)


@given(st.binary(min_size=1, max_size=6), st.integers(14, 40))
def test_any_bytes_come_back_from_their_bits(data: bytes, preamble: int) -> None:
    assert bytes_of(bits(data, preamble)) == data


@given(st.data())
def test_one_wrong_bit_is_always_noticed(data: st.DataObject) -> None:
    whole = encode(Basic(data.draw(st.integers(0, 511)), 2, green=True, activate=True))
    place = data.draw(st.integers(0, 23))
    spoilt = bytearray(whole)
    spoilt[place // 8] ^= 1 << place % 8
    with pytest.raises(PacketError):
        decode(bytes(spoilt))


@pytest.mark.parametrize(
    "packet", [Basic(512, 0, True, True), Basic(0, 4, True, True), Extended(2048, 0),
               Extended(0, 256), Extended(-1, 0)],
)  # fmt: skip
def test_numbers_that_a_packet_has_no_room_for_are_refused(packet: Basic | Extended) -> None:
    with pytest.raises(ValueError, match="a packet has no"):
        encode(packet)
