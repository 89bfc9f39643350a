"""Which accessory packet a decoder listens to, and whether it suits what is wired to it.

Of the two packets of NMRA S-9.2.1 the basic one switches one side of an output; the
extended one carries a value, and a signal shows an aspect for each value.
"""

from __future__ import annotations

from collections.abc import Sequence

from bellcrank.diagnostics import Collector
from bellcrank.layout.declared_names import Names
from bellcrank.layout.layout_model import DecoderKind
from bellcrank.layout.quantities import number
from bellcrank.syntax import tree as t

HIGHEST_VALUE = 255
"""An aspect's value is one byte of the packet (NMRA S-9.2.1, byte 3); 0 is stop."""


def report_drive_on_extended(
    drive: str, positions: Sequence[str], kind: DecoderKind, outlet: t.Outlet, names: Names
) -> bool:
    """Report a drive on a decoder whose packets have no sides; whether it is one."""
    if kind.packets == "basic":
        return False
    values = ", ".join(f"{position} as {n}" for n, position in enumerate(positions))
    by_values = f"`drive {drive} {values} = {outlet}`"
    names.found.report(
        "E612",
        f"{kind.name} listens to extended packets, and which values throw {drive} is not said",
        outlet.span,
        expected=f"a value for each position, such as {by_values}, or an output of a kind with "
        "`packets basic`",
    )
    return True


def report_frog_on_extended(frog: str, kind: DecoderKind, outlet: t.Outlet, names: Names) -> bool:
    """Report a frog on a decoder whose packets have no sides; whether it is one."""
    if kind.packets == "basic":
        return False
    names.found.report(
        "E612",
        f"{kind.name} listens to extended packets, which show aspects and switch no frog",
        outlet.span,
        expected=f"for {frog} an output of a kind with `packets basic`",
    )
    return True


def report_sides_on_extended(kind: DecoderKind, lamp: t.LitLamp, found: Collector) -> bool:
    """Report an aspect at a side of an output that has none; whether it is one."""
    if kind.packets == "basic":
        return False
    found.report(
        "E612",
        f"{kind.name} listens to extended packets; its outputs have no sides",
        lamp.side.span,
        expected=f"one output for the whole signal, such as `= {lamp.output}`",
    )
    return True


def report_too_much_for_basic(
    signal: str, count: int, line: t.SignalLine, kind: DecoderKind, found: Collector
) -> bool:
    """Report a signal with more aspects, or with values, on one output that has two sides.

    count: how many aspects it has.
    """
    assert line.output is not None
    valued = next((a.value for a in line.aspects if a.value is not None), None)
    if valued is not None:
        found.report(
            "E612",
            f"{kind.name} listens to basic packets, which carry no values",
            valued.span,
            expected="an output of a kind with `packets extended`",
        )
    elif count > 2:
        found.report(
            "E612",
            f"{kind.name} listens to basic packets: one output shows two aspects, and {signal} "
            f"has {count}",
            line.output.span,
            expected="an output of a kind with `packets extended`, or a side for each aspect, "
            "such as `shows stop at K1.1 red, caution at K1.1 green, clear at K1.2 green`",
        )
    return valued is not None or count > 2


def report_values_on_nothing(line: t.SignalLine, found: Collector) -> None:
    """Report a value of an aspect of a signal that is on no output of its own."""
    for aspect in line.aspects:
        if aspect.value is not None:
            found.report(
                "E612",
                f"{line.name} is on no output to which the value {aspect.value} could be sent",
                aspect.value.span,
                expected="`=` at the end, and an output of a kind with `packets extended`",
            )
            return


def aspect_values(line: t.SignalLine, count: int, found: Collector) -> tuple[int, ...] | None:
    """The value that shows each aspect: 0, 1, 2 and so on, or those that are stated.

    count: how many aspects there are. None if the values do not fit, with the reason
    reported.
    """
    if not any(a.value for a in line.aspects):
        if count <= HIGHEST_VALUE + 1:
            return tuple(range(count))
        found.report(
            "E322",
            f"one output shows at most {HIGHEST_VALUE + 1} aspects; {line.name} has {count}",
            line.name.span,
        )
        return None
    values: dict[int, t.Aspect] = {}
    for index, aspect in enumerate(line.aspects):
        value: int | None = 0
        if aspect.value is not None:
            value = number(aspect.value, "the value of an aspect", 0, HIGHEST_VALUE, found)
        elif index:
            found.report(
                "E322",
                f"`{aspect.name}` has no value, while others have",
                aspect.name.span,
                expected=f"`{aspect.name} as` and a number from 1 to {HIGHEST_VALUE}",
            )
            return None
        if value is None:
            return None
        place = aspect.value or aspect.name
        if index == 0 and value:
            found.report(
                "E322",
                f"`{aspect.name}` is shown by the value 0 (NMRA S-9.2.1), not by {value}",
                place.span,
                expected=f"`{aspect.name} as 0`",
            )
            return None
        first = values.setdefault(value, aspect)
        if first is not aspect:
            found.report(
                "E322",
                f"`{first.name}` and `{aspect.name}` have the same value, {value}",
                place.span,
                expected="a value of its own for each aspect",
                related=[(first.span, f"`{first.name}` has it")],
            )
            return None
    return tuple(values)
