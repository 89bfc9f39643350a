"""Decoders that have no switches: set by configuration variables, or by learning.

Which variables an accessory decoder has is said in NMRA S-9.2.2 (from memory): 1 and 9 hold its
address, 29 how it is addressed, 3 and those that follow how long its outputs are on. Arithmetic
on the kinds of decoder that a layout describes; what is written is told in `VariableValue`s.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

ADDRESS_LOW, ADDRESS_HIGH, CONFIGURATION = 1, 9, 29
"""The variables of NMRA S-9.2.2, accessory decoders (from memory)."""

HIGHEST_VARIABLE = 1024
"""Ten bits of the packet that writes one say its number less 1 (NMRA S-9.2.1)."""

HIGHEST_CONTENT = 255

STAYS_ON = 0
"""In the variable of a time: the output is not switched off by itself (NMRA S-9.2.2, from memory;
the papers of the decoder go before)."""

LOW_BITS = {"groups": 6, "outputs": 8}
"""How many bits of the address the first of its variables holds: of the address of a decoder, six;
of the number of an output, eight. The second holds the three above (NMRA S-9.2.2)."""

Learns = Literal["decoder", "outputs"]
"""What is learned while a button is held: the number of the first output, from which the others
follow, or that of each output by itself."""

VariableIs = Literal["address low", "address high", "configuration", "on time", "stated"]


@dataclass(frozen=True, slots=True)
class OnTimes:
    """How long outputs are on: a variable for each, the first of them that of output 1.

    step: milliseconds for each 1 in it.
    """

    first: int
    step: int

    def steps(self, milliseconds: int) -> int:
        """What is written for a time: the steps in which it is over."""
        return -(-milliseconds // self.step)


@dataclass(frozen=True, slots=True)
class Variables:
    """How a kind of decoder is set by variables.

    low, high: those that hold its address. standard: whether they are those of the standard, so
        that it has its variable for the way of addressing as well.
    stated: what other variables hold on every decoder of the kind.
    """

    low: int = ADDRESS_LOW
    high: int = ADDRESS_HIGH
    standard: bool = True
    on_times: OnTimes | None = None
    stated: Mapping[int, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class VariableValue:
    """What a variable of a decoder must hold.

    output: the output on the decoder whose time it is; 0 for all others.
    moves_address: whether the decoder listens to another address once it is written.
    """

    number: int
    value: int
    what: VariableIs
    output: int = 0

    @property
    def moves_address(self) -> bool:
        return self.what in ("address low", "address high", "configuration")


def configuration(counts: str, *, extended: bool) -> int:
    """What the variable of the standard holds of how a decoder is addressed, in its three highest
    bits: that it is an accessory decoder, whether its address is that of an output, and whether it
    listens to extended packets (NMRA S-9.2.2, from memory)."""
    return 1 << 7 | (counts == "outputs") << 6 | extended << 5


ADDRESSING = 0b1110_0000
"""The bits of that variable that say how it is addressed."""


def highest_address(counts: str) -> int:
    """The highest address that two variables hold: low bits, and three above."""
    return (8 << LOW_BITS[counts]) - 1


def variable_values(
    said: Variables,
    counts: str,
    address: int,
    *,
    extended: bool,
    times: Mapping[int, int],
) -> list[VariableValue]:
    """What to write into the variables of a decoder, in their order.

    counts: whether they hold the number of a group of four outputs, or of an output.
    address: that number, as packets have it. extended: whether it listens to extended packets.
    times: for how many milliseconds outputs of it are on, by their numbers; 0 for one that is to
        stay on.
    """
    bits = LOW_BITS[counts]
    found = {
        said.low: VariableValue(said.low, address & (1 << bits) - 1, "address low"),
        said.high: VariableValue(said.high, address >> bits, "address high"),
    }
    if said.standard:
        value = configuration(counts, extended=extended)
        found[CONFIGURATION] = VariableValue(CONFIGURATION, value, "configuration")
    if said.on_times is not None:
        for output, milliseconds in times.items():
            number = said.on_times.first + output - 1
            steps = said.on_times.steps(milliseconds) if milliseconds else STAYS_ON
            found[number] = VariableValue(number, steps, "on time", output)
    for number, value in said.stated.items():
        # What else is kept beside how it is addressed is stated; that part is as it must be.
        whole = said.standard and number == CONFIGURATION
        found[number] = VariableValue(number, value, "configuration" if whole else "stated")
    return [found[number] for number in sorted(found)]
