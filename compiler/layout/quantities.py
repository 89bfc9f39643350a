"""Numbers and times as people write them."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Literal

from bellcrank.diagnostics import Collector
from bellcrank.syntax.tree import Word

_NUMBER_WORDS = {
    word: number
    for number, word in enumerate(
        "zero one two three four five six seven eight nine ten eleven twelve".split()
    )
}


def number(word: Word, what: str, low: int, high: int, found: Collector) -> int | None:
    """A whole number in figures or in words, within bounds; None if it is not one."""
    value = _NUMBER_WORDS.get(word.text.lower())
    if value is None and word.text.isascii() and word.text.isdigit() and len(word.text) < 10:
        value = int(word.text)
    if value is None or not low <= value <= high:
        found.report(
            "E608",
            f"`{_clipped(word.text)}` cannot be {what}",
            word.span,
            expected=f"{low} or {high}"
            if high == low + 1
            else f"a whole number from {low} to {high}",
        )
        return None
    return value


_UNITS = {
    **dict.fromkeys(("msec", "msecs", "millisecond", "milliseconds", "mS", "MS"), "ms"),
    **dict.fromkeys(("sec", "secs", "second", "seconds", "S"), "s"),
}

_MINUTES = frozenset(("min", "mins", "minute", "minutes"))


def _clipped(text: str) -> str:
    return text if len(text) <= 24 else text[:20] + "…"


Unit = Literal["ms", "s"]


def _in_time_units(figures: str, unit: str, meant: Unit | None) -> str | None:
    """A suggestion for a time that is without a unit, or with one not known."""
    if unit in _MINUTES:
        return f"write `{float(figures) * 60:g} s`"
    if unit:
        return f"write `{figures} {_UNITS[unit]}`" if unit in _UNITS else None
    # Nobody means a drive that moves for half a minute, or one that moves for 5 ms.
    return f"write `{figures} {meant or ('ms' if float(figures or 0) >= 20 else 's')}`"


def milliseconds(
    word: Word,
    found: Collector,
    *,
    what: str = "a time a drive could take",
    low: int = 1,
    high: int = 600_000,
    meant: Unit | None = None,
) -> int | None:
    """A time with its unit, such as `200 ms` or `1.5 s`; None if it is not one.

    what: what it would have to be; between low and high. meant: the unit that is most
    likely meant where none is written; by the figure, if that depends on it.
    """
    match = re.fullmatch(r"([0-9]+)(?:\.([0-9]+))?\s*(\w*)", word.text)
    unit = match.group(3) if match else ""
    factor = {"ms": 1, "s": 1000}.get(unit)
    if match is None or factor is None:
        figures = word.text if match is None or not unit else word.text[: -len(unit)].rstrip()
        found.report(
            "E606",
            f"`{unit}` is not a unit of time here"
            if unit
            else f"`{_clipped(word.text)}` has no unit"
            if match
            else f"`{word}` is not a time in plain figures",
            word.span,
            expected="milliseconds (ms) or seconds (s)",
            hint=_in_time_units(figures, unit, meant) if match else None,
        )
        return None
    whole, decimals = match.group(1), match.group(2) or ""
    if len(whole) > 7 or len(decimals) > 6:
        value = 0
    else:
        value = round((int(whole) + int(decimals or "0") / 10 ** len(decimals)) * factor)
    if not low <= value <= high:
        found.report(
            "E606",
            f"`{_clipped(word.text)}` is not {what}",
            word.span,
            expected=f"from {in_words(low)} to {in_words(high)}",
        )
        return None
    return value


def exact_milliseconds(word: Word) -> Fraction:
    """A time that `milliseconds` takes, not rounded to a whole number of them."""
    match = re.fullmatch(r"([0-9.]+)\s*(ms|s)", word.text)
    assert match is not None
    return Fraction(match.group(1)) * (1000 if match.group(2) == "s" else 1)


def in_words(ms: int) -> str:
    """A time as it is written in a layout."""
    return f"{ms} ms" if ms < 1000 else f"{ms / 1000:g} s"
