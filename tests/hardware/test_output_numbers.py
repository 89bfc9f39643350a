"""Output numbers, decoder addresses and pairs, and the switches that set them.

The checks against the published packet formats are in tests/outside.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellcrank.hardware.addresses import (
    HIGHEST_OUTPUT,
    LOWEST_OUTPUT,
    binary_weights,
    digit_weights,
    digits,
    pair_of_output,
    switch_value,
    switches,
)

outputs = st.integers(LOWEST_OUTPUT, 2048)


@pytest.mark.parametrize(
    ("output", "decoder", "pair"),
    [(1, 1, 0), (2, 1, 1), (4, 1, 3), (5, 2, 0), (16, 4, 3), (17, 5, 0), (2040, 510, 3)],
)
def test_four_outputs_share_a_decoder_address(output: int, decoder: int, pair: int) -> None:
    assert pair_of_output(output) == (decoder, pair)


@given(outputs)
def test_the_decoder_address_and_pair_tell_the_output_again(output: int) -> None:
    decoder, pair = pair_of_output(output)
    assert 0 <= pair <= 3
    assert 4 * (decoder - 1) + pair + 1 == output


@pytest.mark.parametrize("output", [0, -1, 2049, 10**9])
def test_output_numbers_that_no_packet_can_carry_are_refused(output: int) -> None:
    with pytest.raises(ValueError, match=f"output number {output} is not in 1 to 2048"):
        pair_of_output(output)


def test_the_highest_ordinary_output_is_the_last_before_the_broadcast_address() -> None:
    assert pair_of_output(HIGHEST_OUTPUT)[0] == 510
    assert pair_of_output(HIGHEST_OUTPUT + 1)[0] == 511


def test_switches_that_count_outputs_show_the_address_itself() -> None:
    assert switch_value(16, 1, first=1) == 16
    assert switch_value(21, 1, first=1) == 21


def test_switches_may_count_from_nought() -> None:
    assert switch_value(1, 1, first=0) == 0
    assert switch_value(16, 1, first=0) == 15


def test_switches_may_count_whole_decoders() -> None:
    assert switch_value(1, 4, first=0) == 0
    assert switch_value(5, 4, first=0) == 1
    assert switch_value(5, 4, first=1) == 2
    assert switch_value(17, 8, first=1) == 3


@pytest.mark.parametrize("address", [2, 3, 4, 6, 16])
def test_an_address_inside_a_decoder_cannot_be_set_by_counting_decoders(address: int) -> None:
    assert switch_value(address, 4, first=1) is None


@given(
    st.integers(1, 256),
    st.integers(1, HIGHEST_OUTPUT),
    st.integers(-600, 600),
)
def test_the_switch_value_tells_the_address_again(step: int, address: int, first: int) -> None:
    value = switch_value(address, step, first=first)
    if value is None:
        assert address % step != 1 % step
    else:
        assert (value - first) * step + 1 == address


def test_switch_one_weighs_one_and_each_next_one_twice_as_much() -> None:
    assert switches(1, binary_weights(4)) == (True, False, False, False)
    assert switches(2, binary_weights(4)) == (False, True, False, False)
    assert switches(13, binary_weights(4)) == (True, False, True, True)


def test_inverted_switches_count_when_they_are_off() -> None:
    assert switches(0, binary_weights(3), inverted=True) == (True, True, True)
    assert switches(5, binary_weights(3), inverted=True) == (False, True, False)


def test_no_switches_show_nought_and_nothing_else() -> None:
    assert switches(0, ()) == ()
    assert switches(1, ()) is None


@given(st.integers(0, 16), st.integers(-2, 1 << 17), st.booleans())
def test_switches_add_up_to_what_they_show(count: int, value: int, inverted: bool) -> None:
    shown = switches(value, binary_weights(count), inverted=inverted)
    if not 0 <= value < 2**count:
        assert shown is None
        return
    assert shown is not None
    assert len(shown) == count
    assert sum(2**k for k, on in enumerate(shown) if on != inverted) == value


@given(
    st.lists(st.integers(0, 30), max_size=4),
    st.integers(0, 400),
    st.sampled_from([2, 10, 16]),
)
def test_digits_show_a_value_if_any_digits_do(weights: list[int], value: int, base: int) -> None:
    shown = digits(value, weights, base)
    possible = {0}
    for weight in weights:
        possible = {v + d * weight for v in possible for d in range(base)}
    if shown is None:
        assert value not in possible
    else:
        assert all(0 <= digit < base for digit in shown)
        assert sum(d * w for d, w in zip(shown, weights, strict=True)) == value


def test_rotary_switches_are_read_as_figures_are() -> None:
    assert digits(407, digit_weights(3, 10), 10) == (4, 0, 7)
    assert digits(0x3C, digit_weights(2, 16), 16) == (3, 12)
    assert digits(1000, digit_weights(3, 10), 10) is None
