"""Which cross-section a pair of wires needs, by its length and current.

The resistance is that of annealed copper at 20 °C, 1/58 ohm for a metre of one square millimetre
(IEC 60028:1925); the sizes are those of IEC 60228 (both from memory). That no more than a tenth of
the voltage may be lost on the way is common practice. What current a wire may carry in its place
is a matter of local codes.
"""

from __future__ import annotations

from fractions import Fraction

SIZES = (50, 75, 100, 150, 250, 400, 600)
"""Hundredths of a square millimetre."""

CONDUCTIVITY = 58
"""Metres of a wire of one square millimetre that have one ohm."""

MOST_LOST = Fraction(1, 10)
"""Of the voltage, there and back."""


def voltage_lost(millimetres: int, milliamperes: int, size: int) -> Fraction:
    """Millivolts that are lost there and back over a pair of wires.

    millimetres: from one end to the other. size: hundredths of a square millimetre.
    """
    metres, square = Fraction(2 * millimetres, 1000), Fraction(size, 100)
    return milliamperes * metres / (CONDUCTIVITY * square)


def smallest_size(millimetres: int, milliamperes: int, millivolts: int) -> int | None:
    """The smallest cross-section, in hundredths of a square millimetre, over which no more is
    lost than may be; None if the largest is too small."""
    bearable = millivolts * MOST_LOST
    fit = (s for s in SIZES if voltage_lost(millimetres, milliamperes, s) <= bearable)
    return next(fit, None)
