"""Kinds of decoder, as their users describe them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import cast, get_args

from bellcrank.diagnostics import Collector, Noun, did_you_mean
from bellcrank.hardware.addresses import HIGHEST_OUTPUT, LOWEST_OUTPUT, binary_weights
from bellcrank.layout.declared_names import Names
from bellcrank.layout.layout_model import Counts, DecoderKind, Lamps, Packets, Pulses
from bellcrank.layout.quantities import number
from bellcrank.syntax import tree as t

DECODER_KIND = Noun("a", "kind of decoder")

TERMINALS = ("green", "red", "common")

HEAVIEST_WEIGHT = 65_536
"""The most that a switch may count; far more than any address needs."""


def build_kinds(lines: Iterable[t.DecoderKindLine], names: Names) -> dict[str, DecoderKind | None]:
    """The kinds of decoder; None for one that is not described soundly."""
    kinds: dict[str, DecoderKind | None] = {}
    for line in lines:
        if names.claim(line.name, DECODER_KIND):
            kinds[line.name.text] = _kind(line, names)
    return kinds


def _kind(line: t.DecoderKindLine, names: Names) -> DecoderKind | None:
    found = names.found
    before = len(found.diagnostics)
    said = {s.keyword: s for s in line.settings if s.keyword != "switch"}
    outputs: int | None = 1
    if "outputs" in said:
        outputs = number(said["outputs"].words[0], "a count of outputs", 1, 256, found)
    else:
        found.report(
            "E607",
            f"`{line.name}` does not say how many outputs it has",
            line.name.span,
            expected="`outputs` and a number, such as `outputs 4`",
        )
    count: int | None = 0
    if "switches" in said:
        count = number(said["switches"].words[0], "a count of switches", 0, 16, found)
    fixed = {} if count is None else _fixed(line, count, found)
    weights = () if count is None else _weights(said.get("weights"), count, fixed, found)
    counts = _one_of(said, "counts", get_args(Counts), "switches do not count", found)
    first: int | None = 1
    if "from" in said:
        first = number(said["from"].words[0], "the value of the first number", 0, 1, found)
    low, high = _range(said.get("range"), found)
    packets = _one_of(said, "packets", get_args(Packets), "there are no packets", found)
    pulses = _one_of(said, "pulses", get_args(Pulses), "the pulses of coils are not", found)
    lamps = _one_of(said, "lamps", get_args(Lamps), "the lamps of signals are not", found)
    terminals = _terminals(said.get("terminals"), outputs or 1, found)
    if len(found.diagnostics) > before:
        return None
    assert outputs is not None and count is not None and first is not None
    return DecoderKind(
        line.name.text,
        outputs,
        count,
        cast(Counts, counts),
        first,
        "inverted" in said,
        low,
        high,
        weights,
        fixed,
        cast(Packets, packets),
        terminals,
        cast(Pulses, pulses),
        cast(Lamps, lamps),
    )


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


def _range(setting: t.KindSetting | None, found: Collector) -> tuple[int, int]:
    if setting is None:
        return LOWEST_OUTPUT, HIGHEST_OUTPUT
    bounds = [
        number(w, "an output number", LOWEST_OUTPUT, HIGHEST_OUTPUT, found) for w in setting.words
    ]
    if bounds[0] is None or bounds[1] is None:
        return LOWEST_OUTPUT, HIGHEST_OUTPUT
    low, high = bounds[0], bounds[1]
    if low > high:
        found.report(
            "E607", "this range ends before it begins", setting.span,
            hint=f"write `range {high} to {low}`",
        )  # fmt: skip
    return low, high


def _fixed(line: t.DecoderKindLine, count: int, found: Collector) -> dict[int, bool]:
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
    setting: t.KindSetting | None, count: int, fixed: Mapping[int, bool], found: Collector
) -> tuple[int, ...]:
    """What each switch counts; nothing if that is 1, 2, 4 and so on for all of them."""
    weights: Sequence[int | None] = binary_weights(count)
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


def _terminals(setting: t.KindSetting | None, outputs: int, found: Collector) -> dict[str, str]:
    """What is printed at the terminals, in the order green, red, common."""
    said: dict[str, str] = {}
    words = setting.words if setting else ()
    for which, text in zip(words[::2], words[1::2], strict=True):
        if which.text not in TERMINALS:
            found.report(
                "E607",
                f"an output has no terminal `{which}`",
                which.span,
                expected="`green`, `red` or `common`",
                hint=did_you_mean(which.text, TERMINALS),
            )
        elif not text.text.strip():
            found.report(
                "E607", "this terminal has no name", text.span, expected='such as "A%"'
            )  # fmt: skip
        elif outputs > 1 and which.text != "common" and "%" not in text.text:
            found.report(
                "E607",
                f'all outputs would have the same {which} terminal "{text}"',
                text.span,
                expected="a `%` where the number of the output stands",
                hint=f'write "{text}%", say',
            )
        said[which.text] = text.text
    return {name: said[name] for name in TERMINALS if name in said}
