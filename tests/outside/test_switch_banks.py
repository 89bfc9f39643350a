"""Switch settings of every address, read again from the switches alone.

Each kind of decoder is given twice: as its user describes it in a layout, and as a
plain convention here, with which the test reads a bank of switches as somebody would
who stands before the decoder. The two meet only in the settings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from itertools import product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from in_campaigns import in_campaigns
from sound_layouts import undecided

import bellcrank
from bellcrank.diagnostics import MOST_MISTAKES
from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED
from bellcrank.hardware.addresses import HIGHEST_OUTPUT, settable, switches

TRACK = "run edge WEST - A - >H - B - edge EAST\n"


@dataclass(frozen=True)
class Convention:
    """How the switches of a kind are read, by its papers.

    counts: what each switch counts that is for the address, by its number.
    stands: how the others must stand, by their numbers.
    counting: where a switch stands when it counts.
    nought: the first output number of the decoder whose switches show 0.
    step: how much further that number is for each 1 that they show more.
    """

    settings: str
    outputs: int
    counts: Mapping[int, int]
    stands: Mapping[int, str]
    counting: str
    nought: int
    step: int
    low: int = 1
    high: int = HIGHEST_OUTPUT

    def read(self, bank: Mapping[int, str]) -> int:
        """The number of the first output of a decoder whose switches stand like this."""
        for switch, stands in self.stands.items():
            assert bank[switch] == stands
        shown = sum(n for switch, n in self.counts.items() if bank[switch] == self.counting)
        return self.nought + self.step * shown

    def every_address(self) -> list[int]:
        """What all the settings there are can be read as, where the outputs are in range."""
        sums = {0}
        for n in self.counts.values():
            sums |= {s + n for s in sums}
        addresses = {self.nought + self.step * s for s in sums}
        return sorted(a for a in addresses if a >= self.low and a + self.outputs - 1 <= self.high)


KINDS = {
    # Switch k counts 2^(k-1), and the switches show the output number: common practice.
    "outputs from 1": Convention(
        "outputs 1  switches 11",
        1,
        {k: 2 ** (k - 1) for k in range(1, 12)},
        {},
        "on",
        0,
        1,
    ),
    "decoders of four from 0, inverted, two switches for other purposes": Convention(
        "outputs 4  switches 11  counts decoders  from 0  inverted  switch 10 off  switch 11 on",
        4,
        {k: 2 ** (k - 1) for k in range(1, 10)},
        {10: "off", 11: "on"},
        "off",
        1,
        4,
    ),
    "figures of ten by groups of four switches": Convention(
        "outputs 1  switches 12  weights 1, 2, 4, 8, 10, 20, 40, 80, 100, 200, 400, 800"
        "  range 1 to 999",
        1,
        {1: 1, 2: 2, 3: 4, 4: 8, 5: 10, 6: 20, 7: 40, 8: 80, 9: 100, 10: 200, 11: 400, 12: 800},
        {},
        "on",
        0,
        1,
        high=999,
    ),
    "the heaviest switch first, the first of them for another purpose": Convention(
        "outputs 8  switches 9  switch 1 on  weights 0, 128, 64, 32, 16, 8, 4, 2, 1"
        "  counts decoders",
        8,
        {2: 128, 3: 64, 4: 32, 5: 16, 6: 8, 7: 4, 8: 2, 9: 1},
        {1: "on"},
        "on",
        1 - 8,
        8,
    ),
    "even numbers only, and not all of them": Convention(
        "outputs 2  switches 6  weights 2, 6, 12, 24, 100, 100  inverted  range 10 to 200",
        2,
        {1: 2, 2: 6, 3: 12, 4: 24, 5: 100, 6: 100},
        {},
        "off",
        0,
        1,
        10,
        200,
    ),
}


def layouts_of_every_address(convention: Convention) -> list[dict[int, dict[str, Any]]]:
    """Documents in which each address of a kind is a decoder's, by their addresses.

    Decoders may not lie over one another, so it takes several layouts.
    """
    found = []
    waiting = convention.every_address()
    while waiting:
        taken: list[int] = []
        for address in waiting:
            if not taken or address >= taken[-1] + convention.outputs:
                taken.append(address)
        waiting = [a for a in waiting if a not in set(taken)]
        text = TRACK + f"decoder kind box {{ {convention.settings} }}\n"
        text += "".join(f"decoder K{a} box at {a}\n" for a in taken)
        decoders = build_document(undecided(text), SPARED).plain["hardware"]["decoders"]
        assert [d["address"] for d in decoders] == taken
        found.append({d["address"]: d for d in decoders})
    return found


@cache
def decoders_of(name: str) -> dict[int, dict[str, Any]]:
    layouts = layouts_of_every_address(KINDS[name])
    return {address: decoder for layout in layouts for address, decoder in layout.items()}


@pytest.mark.parametrize("name", KINDS)
def test_the_switches_of_every_address_are_read_as_that_address(name: str) -> None:
    convention = KINDS[name]
    decoders = decoders_of(name)
    assert len(decoders) > 25
    for address, decoder in decoders.items():
        bank = {s["number"]: "on" if s["on"] else "off" for s in decoder["switch_bank"]}
        assert sorted(bank) == sorted([*convention.counts, *convention.stands])
        assert convention.read(bank) == address


@pytest.mark.parametrize("name", KINDS)
def test_the_bank_tells_which_switches_are_not_for_the_address(name: str) -> None:
    convention = KINDS[name]
    for decoder in decoders_of(name).values():
        fixed = {s["number"]: s["on"] for s in decoder["switch_bank"] if s["fixed"]}
        assert fixed == {k: stands == "on" for k, stands in convention.stands.items()}
        counts = {s["number"]: s["counts"] for s in decoder["switch_bank"] if not s["fixed"]}
        assert counts == convention.counts
        assert decoder["switches_on"] == [s["number"] for s in decoder["switch_bank"] if s["on"]]


@pytest.mark.parametrize("name", in_campaigns(KINDS, lambda name: name != next(iter(KINDS))))
def test_every_address_that_cannot_be_set_is_refused_with_the_nearest_that_can(name: str) -> None:
    convention = KINDS[name]
    possible = convention.every_address()
    within = range(convention.low, convention.high - convention.outputs + 2)
    refused = [a for a in within if a not in set(possible)]
    found = []
    for first in range(0, len(refused), MOST_MISTAKES):  # one source tells of no more
        some = refused[first : first + MOST_MISTAKES]
        text = TRACK + f"decoder kind box {{ {convention.settings} }}\n"
        text += "".join(f"decoder K{a} box at {a}\n" for a in some)
        told = bellcrank.compile(text).diagnostics
        assert [(d.code, d.span.line) for d in told] == [("E605", 3 + n) for n in range(len(some))]
        found += told
    for address, diagnostic in zip(refused, found, strict=True):
        below = [a for a in possible if a < address][-1:]
        above = [a for a in possible if a > address][:1]
        said = [word for word in (diagnostic.expected or "").split() if word.isdigit()]
        assert [int(word) for word in said] == below + above


def test_figures_of_ten_are_set_figure_by_figure() -> None:
    """Read group by group, as such decoders are read: no group shows more than 9."""
    for address, decoder in decoders_of("figures of ten by groups of four switches").items():
        on = [s["on"] for s in decoder["switch_bank"]]
        figures = [sum(2**k for k in range(4) if on[g + k]) for g in (8, 4, 0)]
        assert "".join(map(str, figures)) == f"{address:03}"


# ------------------------------------------------------------- any weights at all

banks = st.lists(st.integers(1, 40), max_size=9)


@given(banks, st.integers(-3, 250), st.booleans(), st.data())
def test_switches_of_any_weights_show_a_value_if_any_setting_does(
    weights: list[int], value: int, inverted: bool, data: st.DataObject
) -> None:
    numbers = st.integers(1, max(1, len(weights)))
    fixed = data.draw(st.dictionaries(numbers, st.booleans())) if weights else {}
    shown = switches(value, weights, fixed=fixed, inverted=inverted)
    right = [
        setting
        for setting in product((True, False), repeat=len(weights))
        if all(setting[k - 1] == on for k, on in fixed.items())
        and value
        == sum(
            weight
            for k, (on, weight) in enumerate(zip(setting, weights, strict=True), 1)
            if k not in fixed and on != inverted
        )
    ]
    assert (shown is not None) == bool(right)
    if shown is not None:
        assert shown in right
        # The heaviest first: no other right setting has heavier switches in use.
        used = [
            sorted(
                (
                    w
                    for k, (on, w) in enumerate(zip(setting, weights, strict=True), 1)
                    if k not in fixed and on != inverted
                ),
                reverse=True,
            )
            for setting in (shown, *right)
        ]
        assert used[0] == max(used)


@given(banks, st.integers(0, 300))
def test_the_values_that_can_be_set_are_the_sums_of_some_weights(
    weights: list[int], highest: int
) -> None:
    sums = {sum(chosen) for chosen in product(*((0, w) for w in weights))}
    values = settable(weights, highest)
    assert {v for v in range(values.bit_length()) if values >> v & 1} == {
        s for s in sums if s <= highest
    }
