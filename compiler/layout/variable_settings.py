"""What a kind of decoder without switches says of itself: its variables, or how it learns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import cast, get_args

from bellcrank.diagnostics import Collector, did_you_mean
from bellcrank.layout.quantities import exact_milliseconds, milliseconds, number
from bellcrank.layout.variables import (
    ADDRESS_HIGH,
    ADDRESS_LOW,
    ADDRESSING,
    CONFIGURATION,
    HIGHEST_CONTENT,
    HIGHEST_VARIABLE,
    Learns,
    OnTimes,
    Variables,
    configuration,
)
from bellcrank.syntax import tree as t

LONGEST_STEP = 1000
"""Milliseconds; a step of the time that an output is on is a fraction of a second."""

OF_VARIABLES = ("address variables", "on times", "variable")
"""Settings that only a kind set by variables has."""


def build_variables(
    line: t.DecoderKindLine, said: Mapping[str, t.KindSetting], outputs: int, found: Collector
) -> Variables | None:
    """How the kind is set by variables; None if it is not."""
    by_variables = said.get("set by variables")
    if by_variables is None:
        for setting in line.settings:
            if setting.keyword in OF_VARIABLES:
                found.report(
                    "E607",
                    f"`{line.name}` is not said to be set by variables",
                    setting.span,
                    expected="`set by variables` as well",
                )
                break
        return None
    for keyword in ("switches", "rotary", "learns"):
        if keyword in said:
            found.report(
                "E607",
                f"`{line.name}` is set in two ways",
                said[keyword].span,
                expected=f"either `set by variables` or `{keyword}`",
                related=[(by_variables.span, "said to be set by variables here")],
            )
            return None
    low, high = ADDRESS_LOW, ADDRESS_HIGH
    address = said.get("address variables")
    if address is not None:
        numbers = [_variable(word, found) for word in address.words]
        if numbers[0] is None or numbers[1] is None:
            return None
        if numbers[0] == numbers[1]:
            found.report(
                "E607",
                f"variable {numbers[0]} cannot hold both parts of an address",
                address.words[1].span,
                expected="the variable of the three high bits, such as 9",
            )
            return None
        low, high = numbers[0], numbers[1]
    on_times = _on_times(said.get("on times"), outputs, found)
    taken = {low: "part of the address", high: "part of the address"}
    if on_times is not None:
        times = range(on_times.first, on_times.first + outputs)
        own = {*taken, CONFIGURATION} if address is None else {*taken}
        clash = min((n for n in times if n in own), default=None)
        if clash is not None:
            found.report(
                "E607",
                f"the variables {times[0]} to {times[-1]} cannot all be times: {clash} is "
                "for the address",
                said["on times"].words[0].span,
                expected=f"{outputs} variables in a row that hold nothing else",
            )
            return None
        taken |= dict.fromkeys(times, "how long an output is on")
    stated = _stated(line.settings, taken, found)
    return Variables(low, high, address is None, on_times, stated)


def report_other_addressing(
    line: t.DecoderKindLine, said: Variables, counts: str, found: Collector, *, extended: bool
) -> None:
    """Report a kind that states its variable of the standard other than it is addressed."""
    needed = configuration(counts, extended=extended)
    value = said.stated.get(CONFIGURATION, needed)
    if said.standard and value & ADDRESSING != needed:
        (word,) = (
            setting.words[1]
            for setting in line.settings
            if setting.keyword == "variable" and setting.words[0].text == str(CONFIGURATION)
        )
        found.report(
            "E607",
            f"{value} in variable {CONFIGURATION} says another way of addressing than the layout "
            f"does, which is {needed}",
            word.span,
            expected=f"such as {needed | value & ~ADDRESSING}, or no line for this variable",
        )


def _variable(word: t.Word, found: Collector) -> int | None:
    return number(word, "the number of a variable", 1, HIGHEST_VARIABLE, found)


def _on_times(setting: t.KindSetting | None, outputs: int, found: Collector) -> OnTimes | None:
    if setting is None:
        return None
    highest = HIGHEST_VARIABLE - outputs + 1
    first = number(setting.words[0], "the variable of output 1", 1, highest, found)
    word = setting.words[1]
    step = milliseconds(word, found, what="a step of the time", high=LONGEST_STEP, meant="ms")
    if first is None or step is None:
        return None
    if exact_milliseconds(word) != step:
        found.report(
            "E606",
            f"a step of {word} is no whole number of milliseconds, and times are reckoned in those",
            word.span,
            expected=f"such as {step} ms, if that is what the decoder's papers mean",
        )
        return None
    return OnTimes(first, step)


def _stated(
    settings: Sequence[t.KindSetting], taken: Mapping[int, str], found: Collector
) -> dict[int, int]:
    """What other variables hold, by their numbers. taken: what those hold that are spoken for."""
    stated: dict[int, int] = {}
    for setting in settings:
        if setting.keyword != "variable":
            continue
        which = _variable(setting.words[0], found)
        value = number(setting.words[1], "what a variable holds", 0, HIGHEST_CONTENT, found)
        if which is None or value is None:
            continue
        if which in taken:
            found.report(
                "E607",
                f"variable {which} holds {taken[which]}, which follows from the layout",
                setting.words[0].span,
                expected="a variable that holds nothing else",
            )
            continue
        # That one is said twice has been reported.
        stated.setdefault(which, value)
    return stated


def build_learning(
    line: t.DecoderKindLine, said: Mapping[str, t.KindSetting], found: Collector
) -> Learns | None:
    """What decoders of the kind learn while their button is held; None if they do not learn."""
    setting = said.get("learns")
    if setting is None:
        return None
    word = setting.words[0]
    if word.text not in get_args(Learns):
        found.report(
            "E607",
            f"a decoder does not learn `{word}`",
            word.span,
            expected="`learns decoder`, the number of its first output, or `learns outputs`, that "
            "of each one",
            hint=did_you_mean(word.text, get_args(Learns)),
        )
        return None
    for keyword in ("switches", "rotary"):
        if keyword in said:
            found.report(
                "E607",
                f"`{line.name}` is set in two ways",
                said[keyword].span,
                expected=f"either `learns` or `{keyword}`",
                related=[(setting.span, "said to learn here")],
            )
            return None
    return cast(Learns, word.text)
