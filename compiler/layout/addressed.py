"""What decoders and detectors have in common: numbers they answer to, and switches that set
them.

Values and arithmetic only; what each kind is for stands where it is described.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Generic, Literal, TypeVar

from bellcrank.diagnostics import Span
from bellcrank.hardware.addresses import binary_weights, settable, switch_value, switches

Counts = Literal["outputs", "decoders", "inputs", "detectors"]
"""What switches count: the numbers of outputs or inputs, or whole decoders or detectors."""


@dataclass(frozen=True, slots=True)
class AddressedKind:
    """How a kind of decoder or detector is addressed, as its user describes it.

    size: how many outputs or inputs it has, and so how many numbers it takes.
    switches: how many address switches; 0 if it has none.
    counts: what the switches count.
    first: the switch value that stands for number 1 (0 or 1).
    inverted: whether a switch counts when it is off.
    low, high: the numbers it can have, both included.
    weights: what each switch counts, switch 1 first; empty for 1, 2, 4 and so on. A
        switch that is not for the address counts 0.
    fixed: switches that are not for the address, by their number, and whether they
        must stand on.
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

    def value_for(self, address: int) -> int | None:
        """What the switches must show for an address; None if nothing would do.

        The value may be more than they can show.
        """
        whole = self.counts in ("decoders", "detectors")
        return switch_value(address, self.size, count_decoders=whole, first=self.first)

    @property
    def switch_weights(self) -> tuple[int, ...]:
        """What each switch counts, switch 1 first."""
        return self.weights or binary_weights(self.switches)

    def switches_for(self, address: int) -> tuple[bool, ...] | None:
        """Which switches are on for an address, switch 1 first; None if none would do."""
        value = self.value_for(address)
        if not self.switches or value is None:
            return None if self.switches else ()
        return switches(value, self.switch_weights, fixed=self.fixed, inverted=self.inverted)

    def addresses(self) -> tuple[int, ...]:
        """The addresses that one of this kind can have, by its range and its switches."""
        within = range(self.low, self.high - self.size + 2)
        if not self.switches:
            return tuple(within)
        counts = [w for k, w in enumerate(self.switch_weights, 1) if k not in self.fixed]
        shown = settable(counts, self.high)
        values = ((address, self.value_for(address)) for address in within)
        return tuple(a for a, value in values if value is not None and shown >> value & 1)


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
