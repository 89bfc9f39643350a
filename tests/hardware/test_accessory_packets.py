"""Basic accessory packets as bytes.

The checks against the published format are in tests/outside; here it is that
packets can be told apart and that nothing but what was asked for changes.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellcrank.hardware.packet_bytes import PacketError, basic_accessory, decode, encode

outputs = st.integers(1, 2048)


@given(outputs, st.booleans(), st.booleans())
def test_a_packet_is_three_bytes_that_cancel_out(output: int, green: bool, activate: bool) -> None:
    first, second, check = basic_accessory(output, green=green, activate=activate)
    assert first ^ second ^ check == 0


@given(outputs, st.booleans())
def test_the_two_sides_differ_in_the_lowest_bit_of_the_second_byte(
    output: int, activate: bool
) -> None:
    green = basic_accessory(output, green=True, activate=activate)
    red = basic_accessory(output, green=False, activate=activate)
    assert (green[0], green[1] ^ 1) == (red[0], red[1])
    assert green[1] & 1 == 1


@given(outputs, st.booleans())
def test_switching_off_differs_in_one_bit_from_switching_on(output: int, green: bool) -> None:
    on = basic_accessory(output, green=green)
    off = basic_accessory(output, green=green, activate=False)
    assert (on[0], on[1] ^ 0b1000) == (off[0], off[1])
    assert on[1] & 0b1000


def test_no_two_commands_have_one_packet() -> None:
    packets = {
        basic_accessory(output, green=green, activate=activate)
        for output in range(1, 2045)
        for green in (True, False)
        for activate in (True, False)
    }
    assert len(packets) == 2044 * 4


def test_an_accessory_packet_never_looks_like_one_to_a_locomotive() -> None:
    for output in range(1, 2049):
        first, second, _ = basic_accessory(output, green=True)
        assert first >> 6 == 0b10
        assert second >> 7 == 1


def test_no_ordinary_output_has_the_packet_to_all_decoders() -> None:
    """Outputs up to 2040, which is as far as layouts may go, are never a broadcast."""
    for output in range(1, 2041):
        first, second, _ = basic_accessory(output, green=True)
        assert (first, second & 0b1111_0000) != (0b1011_1111, 0b1000_0000)


@pytest.mark.parametrize("output", [0, -4, 2049])
def test_outputs_that_no_packet_can_carry_are_refused(output: int) -> None:
    with pytest.raises(ValueError, match="is not in 1 to 2048"):
        basic_accessory(output, green=True)


def with_error_byte(*said: int) -> bytes:
    check = 0
    for byte in said:
        check ^= byte
    return bytes((*said, check))


@pytest.mark.parametrize("after", [(), (4,)])
def test_what_is_read_as_a_packet_is_what_that_packet_is_written_as(after: tuple[int]) -> None:
    """For all first and second bytes, also those that no packet has: 0AAA1AA0, say."""
    read = refused = 0
    for first in range(256):
        for second in range(256):
            data = with_error_byte(first, second, *after)
            try:
                packet = decode(data)
            except PacketError:
                refused += 1
            else:
                assert encode(packet) == data
                read += 1
    # 64 first bytes begin with 10, and then a basic packet has a 1, an extended 0AAA0AA1.
    assert read == 64 * (2**5 if after else 2**7)
    assert read + refused == 256 * 256


@pytest.mark.parametrize("second", [0b0000_0000, 0b0000_1001, 0b0111_1000, 0b0110_1110])
def test_a_second_byte_of_another_form_is_no_extended_packet(second: int) -> None:
    with pytest.raises(PacketError, match="is not of the form 0AAA0AA1"):
        decode(with_error_byte(0b1000_0001, second, 4))
