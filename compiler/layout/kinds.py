"""Kinds of decoder and detector, as their users describe them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields, replace
from typing import Any, Literal, cast, get_args

from bellcrank.diagnostics import Collector, Noun, did_you_mean
from bellcrank.hardware.addresses import (
    INPUT_NUMBERS,
    OUTPUT_NUMBERS,
    binary_weights,
    digit_weights,
)
from bellcrank.layout.addressed import AddressedKind, Counts
from bellcrank.layout.declared_names import Names
from bellcrank.layout.detectors import DetectorKind
from bellcrank.layout.layout_model import DecoderKind, Lamps, Packets, Pulses
from bellcrank.layout.quantities import number
from bellcrank.layout.variable_settings import (
    build_learning,
    build_variables,
    report_other_addressing,
)
from bellcrank.layout.variables import highest_address
from bellcrank.syntax import tree as t

DECODER_KIND = Noun("a", "kind of decoder")

DETECTOR_KIND = Noun("a", "kind of detector")

TERMINALS = ("green", "red", "common", "pair")
"""What of an output a terminal is for; `pair` is both sides, which count on from one output to the
next."""

INPUT_TERMINALS = ("input", "common")

GROUP = 4
"""Outputs that one address of a basic packet has (NMRA S-9.2.1)."""

HEAVIEST_WEIGHT = 65_536
"""The most that a switch may count; far more than any address needs."""


def build_kinds(
    lines: Iterable[t.DecoderKindLine], names: Names, first_decoder: int | None = None
) -> dict[str, DecoderKind | None]:
    """The kinds of decoder; None for one that is not described soundly.

    first_decoder: the number in packets of the decoder that has outputs 1 to 4, if it is said:
        variables hold such numbers.
    """
    kinds: dict[str, DecoderKind | None] = {}
    for line in lines:
        if names.claim(line.name, DECODER_KIND):
            kinds[line.name.text] = _decoder_kind(line, first_decoder, names.found)
    return kinds


def build_detector_kinds(
    lines: Iterable[t.DetectorKindLine], names: Names
) -> dict[str, DetectorKind | None]:
    """The kinds of detector; None for one that is not described soundly."""
    kinds: dict[str, DetectorKind | None] = {}
    for line in lines:
        if names.claim(line.name, DETECTOR_KIND):
            kinds[line.name.text] = _detector_kind(line, names.found)
    return kinds


def _decoder_kind(
    line: t.DecoderKindLine, first_decoder: int | None, found: Collector
) -> DecoderKind | None:
    before = len(found.diagnostics)
    said = {s.keyword: s for s in line.settings if s.keyword not in ("switch", "variable")}
    common = _addressing(line, said, "outputs", ("outputs", "decoders"), OUTPUT_NUMBERS, found)
    variables = build_variables(line, said, common.size, found)
    if variables is not None and len(found.diagnostics) == before:
        common = _by_variables(common, said, first_decoder, found)
    learns = build_learning(line, said, found)
    packets = _one_of(said, "packets", get_args(Packets), "there are no packets", found)
    if variables is not None:
        extended = packets == "extended"
        report_other_addressing(line, variables, common.counts, found, extended=extended)
    pulses = _one_of(said, "pulses", get_args(Pulses), "the pulses of coils are not", found)
    if "on times" in said:
        if "pulses" in said and pulses != "timed":
            found.report(
                "E607",
                "a decoder that has a time for each output ends pulses by itself",
                said["pulses"].span,
                expected="`pulses timed`",
            )
        pulses = "timed"
    lamps = _one_of(said, "lamps", get_args(Lamps), "the lamps of signals are not", found)
    terminals = _terminals(said.get("terminals"), TERMINALS, common.size, "output", found)
    if len(found.diagnostics) > before:
        return None
    return DecoderKind(
        **_parts(common),
        packets=cast(Packets, packets),
        terminals=terminals,
        pulses=cast(Pulses, pulses),
        lamps=cast(Lamps, lamps),
        variables=variables,
        learns=learns,
    )


def _by_variables(
    common: AddressedKind,
    said: Mapping[str, t.KindSetting],
    first_decoder: int | None,
    found: Collector,
) -> AddressedKind:
    """The kind as its variables address it: by groups of four, as basic packets do, unless it is
    said to count outputs, and in the numbers that the packets have (NMRA S-9.2.2)."""
    counts, step = common.counts, common.step
    if "counts" not in said:
        counts, step = "groups", GROUP
    if (counts, step) not in (("groups", GROUP), ("outputs", 1)):
        found.report(
            "E607",
            "variables hold the number of a group of four outputs, or of an output",
            said["counts"].span,
            expected="`counts groups of four` or `counts outputs`",
        )
        return common
    first = _first(said.get("from"), step, OUTPUT_NUMBERS, found)
    if "from" not in said:
        if first_decoder is None:
            found.report(
                "E607",
                "which number packets give to the decoder of the outputs 1 to 4 is not said, and "
                "variables hold such numbers",
                said["set by variables"].span,
                expected="a line `numbering from decoder 1` or `numbering from decoder 0`",
            )
            return common
        # Outputs are counted so that decoder 1 has the numbers 1 to 4.
        first = first_decoder if counts == "groups" else GROUP * (first_decoder - 1) + 1
    return replace(common, counts=counts, step=step, first=first, most=highest_address(counts))


def _detector_kind(line: t.DetectorKindLine, found: Collector) -> DetectorKind | None:
    before = len(found.diagnostics)
    said = {s.keyword: s for s in line.settings if s.keyword != "switch"}
    common = _addressing(line, said, "inputs", ("inputs", "detectors"), INPUT_NUMBERS, found)
    terminals = _terminals(said.get("terminals"), INPUT_TERMINALS, common.size, "input", found)
    if len(found.diagnostics) > before:
        return None
    return DetectorKind(**_parts(common), terminals=terminals)


def _parts(common: AddressedKind) -> dict[str, Any]:
    return {part.name: getattr(common, part.name) for part in fields(AddressedKind)}


def _addressing(
    line: t.DecoderKindLine | t.DetectorKindLine,
    said: Mapping[str, t.KindSetting],
    sizes: Literal["outputs", "inputs"],
    counted: Sequence[Counts],
    numbers: range,
    found: Collector,
) -> AddressedKind:
    """How a kind is addressed; of no worth if a mistake was reported.

    sizes: what it has so many of. counted: what its switches may count. numbers: those
    that there are.
    """
    size: int | None = 1
    if sizes in said:
        size = number(said[sizes].words[0], f"a count of {sizes}", 1, 256, found)
    else:
        found.report(
            "E607",
            f"`{line.name}` does not say how many {sizes} it has",
            line.name.span,
            expected=f"`{sizes}` and a number, such as `{sizes} {4 if sizes == 'outputs' else 8}`",
        )
    count: int | None = 0
    if "switches" in said:
        count = number(said["switches"].words[0], "a count of switches", 0, 16, found)
    rotary = 0
    if "rotary" in said:
        count, rotary = _rotary(line, said, found)
    fixed = {} if count is None or rotary else _fixed(line, count, found)
    weights = () if count is None else _weights(said.get("weights"), count, rotary, fixed, found)
    counts, step = _counts(said.get("counts"), counted, size or 1, found)
    first = _first(said.get("from"), step, numbers, found)
    low, high = _range(said.get("range"), sizes.removesuffix("s"), numbers, found)
    return AddressedKind(
        line.name.text,
        size or 1,
        count or 0,
        counts,
        first,
        "inverted" in said,
        low,
        high,
        weights,
        fixed,
        step,
        rotary,
    )


ROTARY = {"decimal": 10, "hexadecimal": 16}
"""How many positions a rotary switch has, by what it shows."""

MOST_ROTARY = {10: 5, 16: 4}
"""More digits than these no number needs."""

HIGHEST_VALUE = 99_999
"""More than any switches show."""


def _rotary(
    line: t.DecoderKindLine | t.DetectorKindLine,
    said: Mapping[str, t.KindSetting],
    found: Collector,
) -> tuple[int | None, int]:
    """How many rotary switches there are, and in how many positions each stands; (None, 0) if
    that does not add up."""
    count_word, shows = said["rotary"].words
    if shows.text not in ROTARY:
        found.report(
            "E607",
            f"rotary switches do not show `{shows}`",
            shows.span,
            expected="`decimal` or `hexadecimal`",
            hint=did_you_mean(shows.text, ROTARY),
        )
        return None, 0
    for other in line.settings:
        if other.keyword in ("switches", "switch", "inverted"):
            found.report(
                "E607",
                f"`{line.name}` has rotary switches, which show a digit each and are not on or off",
                other.span,
                expected="either `rotary` or switches that are on or off",
            )
            return None, 0
    base = ROTARY[shows.text]
    return number(count_word, "a count of rotary switches", 1, MOST_ROTARY[base], found), base


def _counts(
    setting: t.KindSetting | None, counted: Sequence[Counts], size: int, found: Collector
) -> tuple[Counts, int]:
    """What switches count, and how many numbers that are."""
    whole = counted[1]
    if setting is None:
        return counted[0], 1
    word, *of = setting.words
    if word.text == "groups" and of:
        return "groups", number(of[0], "the size of a group", 1, 256, found) or 1
    if word.text in counted and not of:
        return cast(Counts, word.text), size if word.text == whole else 1
    if word.text == "groups" or of:
        message = (
            "how many numbers make a group is not said"
            if word.text == "groups"
            else f"`{word}` are not counted in groups"
        )
        found.report("E607", message, setting.span, expected="such as `counts groups of four`")
        return counted[0], 1
    found.report(
        "E607",
        f"switches do not count `{word}`",
        word.span,
        expected=f"`counts {counted[0]}`, `counts {whole}` or `counts groups of four`, say",
        hint=did_you_mean(word.text, (*counted, "groups of four")),
    )
    return counted[0], 1


def _first(setting: t.KindSetting | None, step: int, numbers: range, found: Collector) -> int:
    """The value that stands for number 1. A `from` that names a number says it of that one."""
    if setting is None:
        return 1
    value_word, *at = setting.words
    value = number(value_word, "what switches show", 0, HIGHEST_VALUE, found)
    there: int | None = numbers[0]
    if at:
        there = number(at[0], "the number that they show it for", numbers[0], numbers[-1], found)
    if value is None or there is None:
        return 1
    if (there - 1) % step:
        found.report(
            "E607",
            f"no group of {step} begins with {there}",
            at[0].span,
            expected=f"{there - (there - 1) % step} or {there - (there - 1) % step + step}",
        )
        return 1
    return value - (there - 1) // step


def _one_of(
    said: Mapping[str, t.KindSetting],
    keyword: str,
    choices: Sequence[str],
    otherwise: str,
    found: Collector,
) -> str:
    """The word of a setting, which is one of a few; the first if it is not said."""
    if keyword not in said:
        return choices[0]
    word = said[keyword].words[0]
    if word.text not in choices:
        found.report(
            "E607",
            f"{otherwise} `{word}`",
            word.span,
            expected=" or ".join(f"`{keyword} {choice}`" for choice in choices),
            hint=did_you_mean(word.text, choices),
        )
    return word.text


def _range(
    setting: t.KindSetting | None, channel: str, numbers: range, found: Collector
) -> tuple[int, int]:
    lowest, highest = numbers[0], numbers[-1]
    if setting is None:
        return lowest, highest
    bounds = [number(w, f"an {channel} number", lowest, highest, found) for w in setting.words]
    if bounds[0] is None or bounds[1] is None:
        return lowest, highest
    low, high = bounds[0], bounds[1]
    if low > high:
        found.report(
            "E607", "this range ends before it begins", setting.span,
            hint=f"write `range {high} to {low}`",
        )  # fmt: skip
    return low, high


def _fixed(
    line: t.DecoderKindLine | t.DetectorKindLine, count: int, found: Collector
) -> dict[int, bool]:
    """The switches that are not for the address, and whether they must stand on."""
    fixed: dict[int, bool] = {}
    for setting in line.settings:
        if setting.keyword != "switch":
            continue
        which, stands = setting.words
        if not count:
            found.report(
                "E607",
                f"`{line.name}` has no switches",
                setting.span,
                expected="`switches` and their number as well, such as `switches 10`",
            )
            return {}
        k = number(which, "one of its switches", 1, count, found)
        if stands.text not in ("on", "off"):
            found.report(
                "E607",
                f"a switch does not stand `{stands}`",
                stands.span,
                expected="`on` or `off`",
                hint=did_you_mean(stands.text, ("on", "off")),
            )
        elif k is not None and k in fixed:  # written once as a word, once in figures
            found.report("E607", f"switch {k} is described twice", setting.span)
        elif k is not None:
            fixed[k] = stands.text == "on"
    return dict(sorted(fixed.items()))


def _weights(
    setting: t.KindSetting | None,
    count: int,
    rotary: int,
    fixed: Mapping[int, bool],
    found: Collector,
) -> tuple[int, ...]:
    """What each switch counts; nothing if that is what they count where it is not said."""
    weights: Sequence[int | None] = (
        digit_weights(count, rotary) if rotary else binary_weights(count)
    )
    if setting is None and not fixed:
        return ()
    if setting is not None:
        if len(setting.words) != count:
            found.report(
                "E607",
                f"there are {count} switches and {len(setting.words)} weights",
                setting.words[0].span.to(setting.words[-1].span),
                expected=f"{count} numbers, one for each switch in their order"
                if count
                else "`switches` and their number as well, such as `switches 9`",
            )
            return ()
        # What a switch would count that is not for the address is of no account.
        weights = [
            number(word, "what a switch counts", 0 if k in fixed else 1, HEAVIEST_WEIGHT, found)
            for k, word in enumerate(setting.words, 1)
        ]
    return tuple(0 if k in fixed else w or 0 for k, w in enumerate(weights, 1))


def _terminals(
    setting: t.KindSetting | None,
    sides: Sequence[str],
    size: int,
    channel: str,
    found: Collector,
) -> dict[str, str]:
    """What is printed at the terminals, in the order of `sides`.

    sides: what terminals an output or input has. channel: which of the two it is.
    """
    said: dict[str, str] = {}
    words = setting.words if setting else ()
    for which, text in zip(words[::2], words[1::2], strict=True):
        if which.text not in sides:
            found.report(
                "E607",
                f"an {channel} has no terminal `{which}`",
                which.span,
                expected=", ".join(f"`{side}`" for side in sides[:-1]) + f" or `{sides[-1]}`",
                hint=did_you_mean(which.text, sides),
            )
        elif not text.text.strip():
            found.report(
                "E607", "this terminal has no name", text.span, expected='such as "A%"'
            )  # fmt: skip
        elif (size > 1 or which.text == "pair") and which.text != "common" and "%" not in text.text:
            found.report(
                "E607",
                f'all {channel}s would have the same {which} terminal "{text}"',
                text.span,
                expected=f"a `%` where the number of the {channel} stands",
                hint=f'write "{text}%", say',
            )
        elif which.text in ("green", "red") and "pair" in (w.text for w in words[::2]):
            found.report(
                "E607",
                f"the {which} terminal is named by `pair` as well",
                which.span,
                expected="either `pair`, or `green` and `red`",
            )
        said[which.text] = text.text
    return {name: said[name] for name in sides if name in said}
