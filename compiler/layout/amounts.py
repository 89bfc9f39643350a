"""Volts, amperes, farads, ohms and metres as people write them, as whole numbers of small units."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from bellcrank.diagnostics import Collector, did_you_mean
from bellcrank.syntax.tree import Word


@dataclass(frozen=True, slots=True)
class Quantity:
    """Something that is measured.

    units: what each unit is in the smallest, by its sign. low, high: bounds, in the smallest.
    bounds: the same in words.
    """

    name: str
    units: Mapping[str, int]
    low: int
    high: int
    bounds: str


VOLTAGE = Quantity("a voltage", {"V": 1000, "mV": 1}, 1000, 50_000, "1 V to 50 V")
"""In millivolts. Safety extra-low voltage ends at 50 V AC (IEC 61140, 3.26; from memory)."""

CURRENT = Quantity("a current", {"A": 1000, "mA": 1}, 1, 100_000, "1 mA to 100 A")
"""In milliamperes."""

CAPACITANCE = Quantity(
    "a capacitance", {"uF": 1, "\u03bcF": 1, "mF": 1000}, 1, 1_000_000, "1 uF to 1000 mF"
)
"""In microfarads."""

RESISTANCE = Quantity(
    "a resistance",
    {"ohm": 1000, "\u03a9": 1000, "kohm": 1_000_000, "k\u03a9": 1_000_000},
    100,
    1_000_000_000,
    "0.1 ohm to 1000 kohm",
)
"""In milliohms."""

LENGTH = Quantity("a length", {"m": 1000, "cm": 10}, 10, 1_000_000, "1 cm to 1000 m")
"""In millimetres."""

_LONG = {
    "volt": "V", "volts": "V", "v": "V", "amp": "A", "amps": "A", "ampere": "A", "amperes": "A",
    "a": "A", "ma": "mA", "milliamps": "mA", "milliamperes": "mA", "ohms": "ohm", "metre": "m",
    "metres": "m", "meter": "m", "meters": "m", "uf": "uF", "\u03bcf": "uF", "mf": "mF",
}  # fmt: skip
"""What is meant by units that are spelt another way."""


def amount(word: Word, quantity: Quantity, found: Collector) -> int | None:
    """An amount with its unit, such as `1.5 A`, in the smallest unit of its quantity; None if it
    is not one, which has been reported."""
    match = re.fullmatch(r"([0-9]{1,7}(?:\.[0-9]{1,6})?)\s*(\w*)", _plain(word.text))
    unit = match.group(2) if match else ""
    size = quantity.units.get(unit)
    signs = list(quantity.units)
    if match is None or size is None:
        meant = _LONG.get(unit.casefold(), "")
        figures = match.group(1) if match else ""
        found.report(
            "E614",
            f"`{unit}` is not a unit of {quantity.name}" if unit
            else f"`{word}` is not {quantity.name}: it has no unit",
            word.span,
            expected=f"{quantity.name} such as `{figures or '2'} {signs[0]}`",
            hint=f"write `{figures} {meant}`" if meant in quantity.units
            else did_you_mean(unit, signs),
        )  # fmt: skip
        return None
    value = int((Decimal(match.group(1)) * size).to_integral_value())
    if not quantity.low <= value <= quantity.high:
        found.report(
            "E614",
            f"`{word}` cannot be {quantity.name} here",
            word.span,
            expected=f"from {quantity.bounds}",
        )
        return None
    return value


def _plain(text: str) -> str:
    """The sign of micro and that of ohm have two code points each; one of each is left (NFKC)."""
    return unicodedata.normalize("NFKC", text)


def current(word: Word, found: Collector) -> int | None:
    """A current in milliamperes."""
    return amount(word, CURRENT, found)


def has_unit_of(word: Word, quantity: Quantity) -> bool:
    """Whether an amount is written in a unit of this quantity."""
    match = re.fullmatch(r"[0-9.]+\s*(\w*)", _plain(word.text))
    unit = match.group(1) if match else ""
    return unit in quantity.units or _LONG.get(unit.casefold()) in quantity.units


def in_amperes(milliamperes: int) -> str:
    """A current as it is written in a layout."""
    return f"{milliamperes} mA" if milliamperes < 1000 else f"{milliamperes / 1000:g} A"
