"""Decoders, their addresses and switches, and who uses which of their outputs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import cast

from bellcrank.diagnostics import did_you_mean
from bellcrank.hardware.addresses import HIGHEST_OUTPUT, LOWEST_OUTPUT
from bellcrank.layout.model import Counts, Decoder, DecoderKind, OutputRef, Side
from bellcrank.layout.names import Names
from bellcrank.layout.quantities import number
from bellcrank.syntax import tree as t

DECODER = "a decoder"
DECODER_KIND = "a kind of decoder"

SIDES: tuple[Side, Side] = ("green", "red")


@dataclass(slots=True)
class Bench:
    """Decoders by name, and who uses each side of their outputs."""

    names: Names
    decoders: dict[str, Decoder] = field(default_factory=dict)
    users: dict[tuple[OutputRef, Side], tuple[str, t.Output]] = field(default_factory=dict)

    def resolve(self, output: t.Output) -> OutputRef | None:
        """The output that is named, or None with the reason reported."""
        decoder = self.decoders.get(output.decoder.text)
        if decoder is None:
            self.names.unknown(output.decoder, DECODER, self.decoders)
            return None
        count = decoder.kind.outputs
        text = output.number.text
        if not (text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= count):
            self.names.found.report(
                "E601",
                f"{decoder.name} has no output {text}",
                output.number.span,
                expected=f"an output from 1 to {count}"
                if count > 1
                else f"{decoder.name}.1, its only output",
            )
            return None
        return OutputRef(decoder.name, int(text))

    def take(self, user: str, output: t.Output, sides: Iterable[Side]) -> OutputRef | None:
        """Wire sides of an output to one user. Reports a side that is taken."""
        ref = self.resolve(output)
        if ref is None:
            return None
        for side in sides:
            other = self.users.setdefault((ref, side), (user, output))
            if other[1] is not output:
                self.names.found.report(
                    "E602",
                    f"{ref} is used twice: by {other[0]} and by {user}",
                    output.span,
                    expected="an output that nothing else is wired to",
                    hint=self._free(ref),
                    related=[(other[1].span, f"{other[0]} is wired to it here")],
                )
                return None
        return ref

    def _free(self, near: OutputRef) -> str | None:
        taken = {ref for ref, _ in self.users}
        order = sorted(self.decoders.values(), key=lambda d: d.name != near.decoder)
        for decoder in order:
            for index in range(1, decoder.kind.outputs + 1):
                if (decoder.name, index) not in taken:
                    return f"{decoder.name}.{index} is free so far"
        return None


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
    said = {setting.keyword: setting for setting in line.settings}
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
    switch_count: int | None = 0
    if "switches" in said:
        switch_count = number(said["switches"].words[0], "a count of switches", 0, 16, found)
    counts = "outputs"
    if "counts" in said:
        word = said["counts"].words[0]
        counts = word.text
        if counts not in ("outputs", "decoders"):
            found.report(
                "E607",
                f"switches do not count `{word}`",
                word.span,
                expected="`counts outputs` or `counts decoders`",
                hint=did_you_mean(word.text, ("outputs", "decoders")),
            )
    first: int | None = 1
    if "from" in said:
        first = number(said["from"].words[0], "the value of the first number", 0, 1, found)
    low, high = LOWEST_OUTPUT, HIGHEST_OUTPUT
    if "range" in said:
        words = said["range"].words
        bounds = [number(w, "an output number", low, high, found) for w in words]
        if bounds[0] is not None and bounds[1] is not None:
            low, high = bounds[0], bounds[1]
            if low > high:
                found.report(
                    "E607", "this range ends before it begins", said["range"].span,
                    hint=f"write `range {high} to {low}`",
                )  # fmt: skip
    if len(found.diagnostics) > before:
        return None
    assert outputs is not None and switch_count is not None and first is not None
    return DecoderKind(
        line.name.text,
        outputs,
        switch_count,
        cast(Counts, counts),
        first,
        "inverted" in said,
        low,
        high,
    )


def build_decoders(
    lines: Iterable[t.DecoderLine], kinds: Mapping[str, DecoderKind | None], bench: Bench
) -> None:
    """Enter the decoders, with no two sharing an address."""
    names = bench.names
    owners: dict[int, Decoder] = {}
    clashing: list[tuple[Decoder, Decoder, int]] = []
    for line in lines:
        sound = names.claim(line.name, DECODER)
        kind = kinds.get(line.kind.text)
        if line.kind.text not in kinds:
            names.unknown(line.kind, DECODER_KIND, kinds)
        if not sound or kind is None:
            continue
        address = number(line.address, "an address", 0, 99_999, names.found)
        if address is None or not _address_fits(line, kind, address, names):
            # It exists, so that its outputs are not reported as well.
            bench.decoders[line.name.text] = Decoder(line.name.text, kind, 0, line.span)
            continue
        decoder = Decoder(line.name.text, kind, address, line.address.span)
        bench.decoders[decoder.name] = decoder
        clashes = [
            (owners[output], output)
            for output in range(address, address + kind.outputs)
            if owners.setdefault(output, decoder) is not decoder
        ]
        clashing += [(decoder, other, output) for other, output in clashes[:1]]
    taken = Counter(
        number
        for decoder in bench.decoders.values()
        for number in range(decoder.address, decoder.address + decoder.kind.outputs)
    )
    for decoder, other, output in clashing:
        names.found.report(
            "E603",
            f"{decoder.name} and {other.name} both answer to address {output}",
            decoder.span,
            expected="an address of its own for each output",
            hint=_free_address(decoder, taken),
            related=[(other.span, f"{other.name} begins at {other.address}")],
        )


def _address_fits(line: t.DecoderLine, kind: DecoderKind, address: int, names: Names) -> bool:
    last = address + kind.outputs - 1
    if address < kind.low or last > kind.high:
        bad = address if address < kind.low or address > kind.high else last
        names.found.report(
            "E604",
            f"address {bad} is outside the range of {kind.name}",
            line.address.span,
            expected=f"an address from {kind.low} to {kind.high - kind.outputs + 1}",
        )
        return False
    if not kind.switches:
        return True
    value = kind.value_for(address)
    if value is None:
        base = address - (address - 1) % kind.outputs
        names.found.report(
            "E605",
            f"the switches of {kind.name} cannot set {address}: they count whole decoders "
            f"of {kind.outputs} outputs",
            line.address.span,
            expected=f"{base} or {base + kind.outputs}",
        )
        return False
    if value >= 1 << kind.switches:
        top = (1 << kind.switches) - 1 - kind.first
        step = kind.outputs if kind.counts == "decoders" else 1
        names.found.report(
            "E605",
            f"{kind.switches} switches cannot set {address}",
            line.address.span,
            expected=f"at most {top * step + 1}",
        )
        return False
    return True


def _free_address(decoder: Decoder, taken: Counter[int]) -> str | None:
    """An address at which a decoder meets no other, the nearest above its own first.

    taken: how many decoders answer to each number, this one among them.
    """
    kind = decoder.kind
    own = range(decoder.address, decoder.address + kind.outputs)
    step = kind.outputs if kind.counts == "decoders" else 1
    bases = [
        base
        for base in range(1, kind.high - kind.outputs + 2, step)
        if base >= kind.low and _switches_can_set(kind, base)
    ]
    for address in sorted(bases, key=lambda base: (base < decoder.address, base)):
        if all(
            taken[number] == (number in own) for number in range(address, address + kind.outputs)
        ):
            return f"{address} is free"
    return None


def _switches_can_set(kind: DecoderKind, address: int) -> bool:
    if not kind.switches:
        return True
    value = kind.value_for(address)
    return value is not None and value < 1 << kind.switches
