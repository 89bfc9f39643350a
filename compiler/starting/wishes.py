"""What somebody who begins may wish for, with its bounds and what is taken if nothing is said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from bellcrank.hardware.addresses import HIGHEST_OUTPUT

Drives = Literal["coil", "motor", "servo"]
"""What moves the blades."""

KINDS_OF_DRIVE: tuple[Drives, ...] = get_args(Drives)


Signals = Literal["real", "imagined", "none"]
"""Whether signals stand where routes begin, or are only thought of, or there are none."""

KINDS_OF_SIGNALS: tuple[Signals, ...] = get_args(Signals)


class WishError(Exception):
    """What is wished for cannot be; the text says why, as a sentence without a full stop."""


@dataclass(frozen=True, slots=True)
class Decoders:
    """Decoders of one kind, one after another.

    outputs: of each. switches: of each, for its address; they count output numbers.
    first: the number of the first output. drives: what is wired to them.
    """

    outputs: int = 4
    switches: int = 9
    first: int = 1
    drives: Drives = "coil"

    def addresses(self, needed: int) -> list[int]:
        """The address of each decoder, for so many outputs. Raises WishError."""
        count = -(-needed // self.outputs)
        addresses = [self.first + n * self.outputs for n in range(count)]
        last = addresses[-1] + self.outputs - 1
        if last > HIGHEST_OUTPUT:
            raise WishError(
                f"outputs from {self.first} on would end at {last}, and there are none above "
                f"{HIGHEST_OUTPUT}"
            )
        if addresses[-1] >= 2**self.switches:
            raise WishError(
                f"a decoder would have the address {addresses[-1]}, and {self.switches} switches "
                f"count no further than {2**self.switches - 1}"
            )
        return addresses


@dataclass(frozen=True, slots=True)
class Detectors:
    """Detectors of one kind. inputs: of each."""

    inputs: int = 8


@dataclass(frozen=True, slots=True)
class Wish:
    """All that is written beside the track itself.

    title: of the layout. decoders, detectors: None for none.
    """

    title: str
    signals: Signals = "real"
    decoders: Decoders | None = None
    detectors: Detectors | None = None
