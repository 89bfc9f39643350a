"""Decoders, their addresses and switches, and who uses which of their outputs."""

from __future__ import annotations

from bisect import bisect
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace

from bellcrank.diagnostics import Collector, Noun, Span
from bellcrank.hardware.assignment import Wanted, assign, bits
from bellcrank.layout.declared_names import Names
from bellcrank.layout.kinds import DECODER_KIND
from bellcrank.layout.layout_model import Decoder, DecoderKind, OutputRef, Side
from bellcrank.layout.quantities import number
from bellcrank.syntax import tree as t

DECODER = Noun("a", "decoder")

SIDES: tuple[Side, Side] = ("green", "red")


@dataclass(slots=True)
class Bench:
    """Decoders by name, and who uses each side of their outputs.

    kinds: the kinds of decoder, None for one that is not described soundly.
    allotted: the outputs given to whom only a kind of decoder is named for, by the
        place where it is named.
    """

    names: Names
    kinds: Mapping[str, DecoderKind | None] = field(default_factory=dict)
    decoders: dict[str, Decoder] = field(default_factory=dict)
    allotted: dict[Span, tuple[OutputRef, ...]] = field(default_factory=dict)
    users: dict[tuple[OutputRef, Side], tuple[str, t.Outlet]] = field(default_factory=dict)

    def kind_of(self, outlet: t.Outlet) -> DecoderKind | None:
        """The kind of the decoder that has an output; None if there is none such."""
        if isinstance(outlet, t.FreeOutput):
            return self.kinds.get(outlet.kind.text)
        decoder = self.decoders.get(outlet.decoder.text)
        return decoder.kind if decoder else None

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

    def take_all(self, user: str, outlet: t.Outlet) -> tuple[OutputRef, ...]:
        """Wire both sides of what is named to one user. Empty if that cannot be, which
        has been reported."""
        if isinstance(outlet, t.FreeOutput):
            refs = self.allotted.get(outlet.span, ())
            for ref in refs:
                for side in SIDES:
                    self.users[ref, side] = user, outlet
            return refs
        taken = self.take(user, outlet, SIDES)
        return () if taken is None else (taken,)

    def take(self, user: str, output: t.Outlet, sides: Iterable[Side]) -> OutputRef | None:
        """Wire sides of an output to one user. Reports a side that is taken."""
        if isinstance(output, t.FreeOutput):
            ref = next(iter(self.allotted.get(output.span, ())), None)
        else:
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


def build_decoders(lines: Iterable[t.DecoderLine], bench: Bench) -> None:
    """Enter the decoders, with no two sharing an address that is stated for them.

    Those without one have 0 until `assign_addresses` chooses one.
    """
    names = bench.names
    owners: dict[int, Decoder] = {}
    clashing: list[tuple[Decoder, Decoder, int]] = []
    for line in lines:
        sound = names.claim(line.name, DECODER)
        kind = bench.kinds.get(line.kind.text)
        if line.kind.text not in bench.kinds:
            names.unknown(line.kind, DECODER_KIND, bench.kinds)
        if not sound or kind is None:
            continue
        name = line.name.text
        if line.address is None:
            bench.decoders[name] = Decoder(name, kind, 0, line.span, assigned=True)
            continue
        address = number(line.address, "an address", 0, 99_999, names.found)
        if address is None or not _address_fits(line.address, kind, address, names):
            # It exists, so that its outputs are not reported as well.
            bench.decoders[name] = Decoder(name, kind, 0, line.span)
            continue
        decoder = Decoder(name, kind, address, line.address.span)
        bench.decoders[name] = decoder
        clashes = [
            (owners[output], output)
            for output in decoder.numbers
            if owners.setdefault(output, decoder) is not decoder
        ]
        clashing += [(decoder, other, output) for other, output in clashes[:1]]
    taken = Counter(
        output for decoder in bench.decoders.values() if decoder.address
        for output in decoder.numbers
    )  # fmt: skip
    for decoder, other, output in clashing:
        names.found.report(
            "E603",
            f"{decoder.name} and {other.name} both answer to address {output}",
            decoder.span,
            expected="an address of its own for each output",
            hint=_free_address(decoder, taken),
            related=[(other.span, f"{other.name} begins at {other.address}")],
        )


def _address_fits(word: t.Word, kind: DecoderKind, address: int, names: Names) -> bool:
    last = address + kind.outputs - 1
    if address < kind.low or last > kind.high:
        bad = address if address < kind.low or address > kind.high else last
        names.found.report(
            "E604",
            f"address {bad} is outside the range of {kind.name}",
            word.span,
            expected=f"an address from {kind.low} to {kind.high - kind.outputs + 1}",
        )
        return False
    if kind.switches_for(address) is not None:
        return True
    possible = kind.addresses()
    value = kind.value_for(address)
    if value is None:
        message = (
            f"the switches of {kind.name} cannot set {address}: they count whole decoders "
            f"of {kind.outputs} outputs"
        )
    elif kind.weights:
        counted = [w for k, w in enumerate(kind.weights, 1) if k not in kind.fixed]
        message = (
            f"the switches of {kind.name} cannot set {address}: no choice of "
            f"{', '.join(map(str, counted))} adds up to {value}"
        )
    else:
        message = f"{kind.switches} switches cannot set {address}"
    names.found.report("E605", message, word.span, expected=_nearest(address, possible))
    return False


def _nearest(address: int, possible: Sequence[int]) -> str | None:
    """The possible addresses on both sides of one that is not."""
    at = bisect(possible, address)
    below, above = possible[:at][-1:], possible[at:][:1]
    if below and above:
        return f"{below[0]} or {above[0]}"
    if below:
        return f"at most {below[0]}"
    return f"at least {above[0]}" if above else None


def _free_address(decoder: Decoder, taken: Counter[int]) -> str | None:
    """An address at which a decoder meets no other, the nearest above its own first.

    taken: how many decoders answer to each number, this one among them.
    """
    own = decoder.numbers
    possible = decoder.kind.addresses()
    for address in sorted(possible, key=lambda base: (base < decoder.address, base)):
        if all(
            taken[number] == (number in own)
            for number in range(address, address + decoder.kind.outputs)
        ):
            return f"{address} is free"
    return None


def assign_addresses(bench: Bench) -> None:
    """Choose an address for each decoder that states none, in their order.

    They are the lowest that the stated ones leave free; those whose kind has no room
    left are reported.
    """
    stated = [d for d in bench.decoders.values() if d.address]
    wanting = [d for d in bench.decoders.values() if d.assigned]
    if not wanting:
        return
    possible = {d.kind.name: bits(d.kind.addresses()) for d in wanting}
    taken = {number for decoder in stated for number in decoder.numbers}
    addresses = assign(
        [Wanted(d.kind.outputs, possible[d.kind.name]) for d in wanting], taken
    )  # fmt: skip
    lost: dict[str, list[Decoder]] = {}
    for decoder, address in zip(wanting, addresses, strict=True):
        if address is None:
            lost.setdefault(decoder.kind.name, []).append(decoder)
        else:
            placed = replace(decoder, address=address)
            bench.decoders[decoder.name] = placed
            taken.update(placed.numbers)
    for decoders in lost.values():
        _report_no_room(decoders, taken, bench.names.found)


def _report_no_room(decoders: Sequence[Decoder], taken: Set[int], found: Collector) -> None:
    """Report decoders of one kind for which no address is left."""
    first, kind = decoders[0], decoders[0].kind
    addresses = kind.addresses()
    left = sum(number not in taken for number in range(kind.low, kind.high + 1))
    more = f" and for {len(decoders) - 1} more of its kind" if decoders[1:] else ""
    found.report(
        "E613",
        f"there is no room for {first.name}, of the kind {kind.name}{more}: "
        f"of {len(addresses)} addresses that it could have none is left; "
        f"{left} of the numbers {kind.low} to {kind.high} are free",
        first.span,
        expected=f"an address with {kind.outputs} free numbers in a row, to which it can be set"
        if kind.outputs > 1
        else "a free number to which it can be set",
        hint="state other addresses for decoders that can have higher ones",
    )
