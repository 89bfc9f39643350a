"""Output numbers, switch settings and packets against what is printed elsewhere."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellcrank.hardware.addresses import (
    HIGHEST_OUTPUT,
    binary_weights,
    pair_of_output,
    switch_value,
    switches,
)
from bellcrank.hardware.packet_bytes import basic_accessory

FORMAT = "10AAAAAA 1aaaCDDD EEEEEEEE"
"""Basic accessory packet, NMRA S-9.2.1 (Extended Packet Formats), basic accessory
decoder packet format. The capital As are the low six address bits; the small
ones the high three, each inverted (ones' complement)."""

ALL_OUTPUTS = range(1, 2049)
"""Nine address bits and four pairs tell 2048 outputs apart."""


def fields(packet: bytes) -> dict[str, int]:
    """Read a packet by the letters of the format, bit by bit."""
    pattern = FORMAT.replace(" ", "")
    bits = "".join(f"{byte:08b}" for byte in packet)
    assert len(bits) == len(pattern)
    read: dict[str, str] = {}
    for letter, bit in zip(pattern, bits, strict=True):
        if letter in "01":
            assert bit == letter, f"{bits} is not {pattern}"
        else:
            read[letter] = read.get(letter, "") + bit
    return {letter: int(word, 2) for letter, word in read.items()}


def output_and_side(packet: bytes) -> tuple[int, bool, bool]:
    """The output number, whether its green side, and whether it is switched on."""
    read = fields(packet)
    decoder = (read["a"] ^ 0b111) << 6 | read["A"]
    # Decoder addresses go from 1; with nine bits 512 comes out as 0.
    decoder = decoder or 512
    # DDD: the upper two bits are the pair, the lowest the output of the pair.
    return (decoder - 1) * 4 + read["D"] // 2 + 1, bool(read["D"] % 2), bool(read["C"])


# ------------------------------------------------------------------- switches


def test_output_16_is_switch_5_alone() -> None:
    # Binary weighting, switch k carries 2^(k-1): common practice.
    value = switch_value(16, 1, first=1)
    assert value == 16
    shown = switches(value, binary_weights(9))
    assert shown is not None
    on = [k for k, is_on in enumerate(shown, start=1) if is_on]
    assert on == [5]


def test_output_16_is_the_last_pair_of_decoder_4() -> None:
    # Decoder (n-1) div 4 + 1, pair (n-1) mod 4: common practice.
    assert pair_of_output(16) == (4, 3)


@given(st.data())
def test_the_weights_of_the_switches_that_are_on_add_up_to_the_value(data: st.DataObject) -> None:
    count = data.draw(st.integers(1, 16))
    value = data.draw(st.integers(0, 2**count - 1))
    inverted = data.draw(st.booleans())
    shown = switches(value, binary_weights(count), inverted=inverted)
    assert shown is not None and len(shown) == count
    # An inverted switch counts when it is off.
    assert sum(2**k for k, on in enumerate(shown) if on != inverted) == value


@given(st.integers(0, 16), st.integers(-70000, 140000))
def test_no_value_is_shown_that_the_switches_cannot_set(count: int, value: int) -> None:
    shown = switches(value, binary_weights(count))
    assert (shown is not None) == (0 <= value < 2**count)


@given(st.data())
def test_two_values_never_have_the_same_switches(data: st.DataObject) -> None:
    values = data.draw(st.lists(st.integers(0, 511), min_size=2, max_size=2, unique=True))
    inverted = data.draw(st.booleans())
    one, other = (switches(value, binary_weights(9), inverted=inverted) for value in values)
    assert one != other


@given(st.integers(1, 2048), st.sampled_from((0, 1)))
def test_switches_that_count_outputs_give_the_address_back(address: int, first: int) -> None:
    value = switch_value(address, 1, first=first)
    assert value is not None
    assert value - first == address - 1


@given(st.integers(1, 512), st.integers(1, 16), st.sampled_from((0, 1)))
def test_switches_that_count_decoders_step_by_whole_decoders(
    decoder: int, outputs: int, first: int
) -> None:
    address = (decoder - 1) * outputs + 1
    assert switch_value(address, outputs, first=first) == decoder - 1 + first
    for between in range(address + 1, address + outputs):
        assert switch_value(between, outputs, first=first) is None


@pytest.mark.parametrize(
    ("address", "step", "first", "value"),
    [
        # Worked by hand: from 1 or from 0, outputs or whole decoders. Common practice.
        (1, 1, 1, 1),
        (1, 1, 0, 0),
        (16, 1, 0, 15),
        (21, 1, 1, 21),
        (21, 4, 1, 6),
        (21, 4, 0, 5),
        (22, 4, 1, None),
        (2037, 4, 1, 510),
    ],
)
def test_switch_values_worked_by_hand(
    address: int, step: int, first: int, value: int | None
) -> None:
    assert switch_value(address, step, first=first) == value


# -------------------------------------------------------------------- packets


def test_the_packets_of_output_16_worked_by_hand() -> None:
    # NMRA S-9.2.1 format, worked by hand: decoder 4 is 000000100, so the first
    # byte is 10|000100 and the high bits 000 go inverted into 1|111|C|11D.
    assert basic_accessory(16, green=True) == bytes.fromhex("84 FF 7B")
    assert basic_accessory(16, green=False) == bytes.fromhex("84 FE 7A")
    assert basic_accessory(16, green=True, activate=False) == bytes.fromhex("84 F7 73")


def test_every_packet_reads_back_as_what_was_sent() -> None:
    for output in ALL_OUTPUTS:
        for green in (True, False):
            for activate in (True, False):
                packet = basic_accessory(output, green=green, activate=activate)
                assert output_and_side(packet) == (output, green, activate)


def test_the_last_byte_makes_the_exclusive_or_of_all_bytes_nought() -> None:
    # Error detection byte: NMRA S-9.2, general packet format.
    for output in ALL_OUTPUTS:
        first, second, last = basic_accessory(output, green=True)
        assert first ^ second ^ last == 0


def test_no_two_commands_share_a_packet() -> None:
    packets = {
        basic_accessory(output, green=green, activate=activate)
        for output in ALL_OUTPUTS
        for green in (True, False)
        for activate in (True, False)
    }
    assert len(packets) == 4 * len(ALL_OUTPUTS)


def test_only_the_outputs_beyond_the_highest_reach_the_broadcast() -> None:
    # Broadcast to basic accessory decoders: first byte 10111111, second 1000CDDD
    # (NMRA S-9.2.1). A layout may not use the numbers that would send it.
    broadcast = [
        output
        for output in ALL_OUTPUTS
        for first, second, _ in [basic_accessory(output, green=True)]
        if first == 0b10111111 and second >> 4 == 0b1000
    ]
    assert broadcast == [2041, 2042, 2043, 2044]
    assert min(broadcast) > HIGHEST_OUTPUT


@pytest.mark.parametrize("output", [-1, 0, 2049, 100_000])
def test_an_output_that_no_packet_can_name_is_refused(output: int) -> None:
    with pytest.raises(ValueError, match="output number"):
        basic_accessory(output, green=True)
