"""What decoders and detectors have in common: numbers they answer to, and switches that set
them.

Values and arithmetic only; what each kind is for stands where it is described.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Generic, Literal, TypeVar

from bellcrank.diagnostics import Span
from bellcrank.hardware.addresses import (
    binary_weights,
    digit_weights,
    digits,
    settable,
    switch_value,
    switches,
)

Counts = Literal["outputs", "decoders", "inputs", "detectors", "groups"]
"""What switches count: the numbers of outputs or inputs, whole decoders or detectors, or groups
of so many numbers, however many a decoder or detector has."""


@dataclass(frozen=True, slots=True)
class AddressedKind:
    """How a kind of decoder or detector is addressed, as its user describes it.

    size: how many outputs or inputs it has, and so how many numbers it takes.
    switches: how many address switches; 0 if it has none.
    counts: what the switches count. step: how many numbers that are.
    first: the switch value that stands for number 1; below 0 where the switches begin at a
        higher number.
    inverted: whether a switch counts when it is off.
    low, high: the numbers it can have, both included.
    weights: what each switch counts, switch 1 first; empty for 1, 2, 4 and so on. A
        switch that is not for the address counts 0.
    fixed: switches that are not for the address, by their number, and whether they
        must stand on.
    rotary: how many positions each switch has if they are rotary ones, which show a digit
        each: 10 or 16. 0 if they are on or off.
    most: the highest value that something else than switches can hold for an address; None if
        there is nothing of which that is known.
    """

    name: str
    size: int
    switches: int
    counts: Counts
    first: int
    inverted: bool
    low: int
    high: int
    weights: tuple[int, ...] = ()
    fixed: Mapping[int, bool] = field(default_factory=dict)
    step: int = 1
    rotary: int = 0
    most: int | None = None

    def value_for(self, address: int) -> int | None:
        """What the switches must show for an address; None if nothing would do.

        The value may be more than they can show, or less than 0.
        """
        return switch_value(address, self.step, self.first)

    @property
    def switch_weights(self) -> tuple[int, ...]:
        """What each switch counts, switch 1 first; of a rotary one each step."""
        if self.rotary:
            return self.weights or digit_weights(self.switches, self.rotary)
        return self.weights or binary_weights(self.switches)

    def can_show(self, address: int) -> bool:
        """Whether it can be set to an address."""
        if not self.switches:
            value = self.value_for(address)
            return self.most is None or (value is not None and 0 <= value <= self.most)
        return (self.digits_for if self.rotary else self.switches_for)(address) is not None

    def switches_for(self, address: int) -> tuple[bool, ...] | None:
        """Which switches are on for an address, switch 1 first; None if none would do. Of a kind
        with rotary switches, or none, there are none."""
        if not self.switches or self.rotary:
            return ()
        value = self.value_for(address)
        if value is None:
            return None
        return switches(value, self.switch_weights, fixed=self.fixed, inverted=self.inverted)

    def digits_for(self, address: int) -> tuple[int, ...] | None:
        """What each rotary switch shows for an address, the first one first; None if nothing
        would do. Of a kind without them there are none."""
        if not self.rotary:
            return ()
        value = self.value_for(address)
        return None if value is None else digits(value, self.switch_weights, self.rotary)

    def addresses(self) -> tuple[int, ...]:
        """The addresses that one of this kind can have, by its range and its switches."""
        within = range(self.low, self.high - self.size + 2)
        if not self.switches:
            return tuple(filter(self.can_show, within))
        counts = [w for k, w in enumerate(self.switch_weights, 1) if k not in self.fixed]
        values = {address: self.value_for(address) for address in within}
        highest = max((value for value in values.values() if value is not None), default=0)
        shown = settable(counts, max(highest, 0), self.rotary or 2)
        return tuple(
            a
            for a, value in values.items()
            if value is not None and value >= 0 and shown >> value & 1
        )


K = TypeVar("K", bound=AddressedKind)


@dataclass(frozen=True, slots=True)
class Addressed(Generic[K]):
    """A decoder or detector in the layout; `address` is the number of its first output or input.

    assigned: whether its address was chosen for it, as the layout states none.
    """

    name: str
    kind: K
    address: int
    span: Span
    assigned: bool = False

    @property
    def numbers(self) -> range:
        """The numbers of its outputs or inputs."""
        return range(self.address, self.address + self.kind.size)
