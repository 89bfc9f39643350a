"""Addresses that are chosen: whatever is taken, no clash and no waste."""

from __future__ import annotations

from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from bellcrank.hardware.addresses import HIGHEST_OUTPUT
from bellcrank.hardware.assignment import Wanted, assign, bits


def numbers(address: int, outputs: int) -> set[int]:
    return set(range(address, address + outputs))


@st.composite
def decoders(draw: st.DrawFn, most: int = 12, high: int = 60) -> Wanted:
    """A decoder with some addresses that leave room for its outputs below a number."""
    outputs = draw(st.integers(1, 9))
    every = range(1, high - outputs + 2, draw(st.sampled_from((1, 1, 2, outputs))))
    gaps = draw(st.sets(st.sampled_from(list(every)), max_size=most))
    return Wanted(outputs, bits(set(every) - gaps))


wanted_ones = st.lists(decoders(), max_size=14)
taken_ones = st.sets(st.integers(1, 60), max_size=30)


def possible(decoder: Wanted) -> list[int]:
    return [a for a in range(1, HIGHEST_OUTPUT + 1) if decoder.addresses >> a & 1]


@given(wanted_ones, taken_ones)
def test_no_number_is_given_twice_and_each_address_can_be_set(
    wanted: list[Wanted], taken: set[int]
) -> None:
    used = set(taken)
    for decoder, address in zip(wanted, assign(wanted, taken), strict=True):
        if address is not None:
            assert address in possible(decoder)
            assert not numbers(address, decoder.outputs) & used
            used |= numbers(address, decoder.outputs)


@given(wanted_ones, taken_ones)
def test_each_has_the_lowest_address_that_those_before_it_leave(
    wanted: list[Wanted], taken: set[int]
) -> None:
    used = set(taken)
    for decoder, address in zip(wanted, assign(wanted, taken), strict=True):
        free = [a for a in possible(decoder) if not numbers(a, decoder.outputs) & used]
        assert address == (free[0] if free else None)
        if address is not None:
            used |= numbers(address, decoder.outputs)


@given(wanted_ones, decoders(), taken_ones)
def test_one_more_at_the_end_moves_none_of_the_others(
    wanted: list[Wanted], one_more: Wanted, taken: set[int]
) -> None:
    assert assign([*wanted, one_more], taken)[:-1] == assign(wanted, taken)


@given(st.integers(1, 9), st.integers(1, 4), st.integers(0, 6), st.sets(st.integers(1, 40)))
def test_decoders_of_one_kind_find_room_if_there_is_any(
    outputs: int, step: int, count: int, taken: set[int]
) -> None:
    """The lowest first is the best there is for intervals of one length: by all choices."""
    kind = Wanted(outputs, bits(range(1, 40 - outputs + 2, step)))
    placed = assign([kind] * count, taken)
    free = [a for a in possible(kind) if not numbers(a, outputs) & taken]
    most = 0  # decoders that can stand beside one another, by what is best up to each number
    best = [0] * 50
    for end in range(1, 42):
        best[end] = best[end - 1]
        start = end - outputs
        if start in free:
            best[end] = max(best[end], best[max(start, 0)] + 1)
        most = best[end]
    assert sum(address is not None for address in placed) == min(count, most)


def test_the_last_number_can_be_given_and_none_beyond_it() -> None:
    kind = Wanted(4, bits(range(1, HIGHEST_OUTPUT + 1)))
    taken = set(range(1, HIGHEST_OUTPUT - 3))
    assert assign([kind], taken) == (HIGHEST_OUTPUT - 3,)
    assert assign([kind, kind], taken) == (HIGHEST_OUTPUT - 3, None)


def test_holes_between_taken_numbers_are_filled_by_what_fits() -> None:
    pair, four = (Wanted(n, bits(range(1, 100))) for n in (2, 4))
    assert assign([four, pair, four, pair], {1, 4, 9}) == (5, 2, 10, 14)


def test_every_choice_of_three_small_decoders_is_tried_against_the_rule() -> None:
    """All 216 of sizes 1 to 6 in a row fill up from 1 without a hole."""
    for sizes in product(range(1, 7), repeat=3):
        placed = assign([Wanted(n, bits(range(1, 50))) for n in sizes], ())
        assert placed == (1, 1 + sizes[0], 1 + sizes[0] + sizes[1])
