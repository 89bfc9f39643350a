"""Decoders, and who uses which of their outputs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from bellcrank.diagnostics import Collector, Noun, Span, did_you_mean, nearest
from bellcrank.hardware.addresses import OUTPUT_NUMBERS
from bellcrank.layout.addressing import Sort, choose_addresses, enter
from bellcrank.layout.declared_names import Names
from bellcrank.layout.kinds import DECODER_KIND
from bellcrank.layout.layout_model import Decoder, DecoderKind, OutputRef, Side
from bellcrank.syntax import tree as t

DECODER = Noun("a", "decoder")

DECODERS = Sort(DECODER, DECODER_KIND, "output", OUTPUT_NUMBERS[-1], Decoder)

SIDES: tuple[Side, Side] = ("green", "red")


def side_named(
    word: t.Word, code: str, found: Collector, *, expected: str = "`green` or `red`"
) -> Side | None:
    """The side of an output that a word names; None if it names none, which is reported."""
    side = next((side for side in SIDES if side == word.text), None)
    if side is None:
        found.report(
            code,
            f"an output has no side `{word}`",
            word.span,
            expected=expected,
            hint=did_you_mean(word.text, SIDES),
        )
    return side


@dataclass(slots=True)
class Bench:
    """Decoders by name, and who uses each side of their outputs.

    kinds: the kinds of decoder, None for one that is not described soundly.
    allotted: the outputs given to whom only a kind of decoder is named for, by the
        place where it is named.
    stated: outputs that lines name themselves, whichever these are.
    """

    names: Names
    kinds: Mapping[str, DecoderKind | None] = field(default_factory=dict)
    decoders: dict[str, Decoder] = field(default_factory=dict)
    allotted: dict[Span, tuple[OutputRef, ...]] = field(default_factory=dict)
    users: dict[tuple[OutputRef, Side], tuple[str, t.Outlet]] = field(default_factory=dict)
    stated: frozenset[OutputRef] = frozenset()

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
            self.names.unknown(
                output.decoder, DECODER, self.decoders, self._hint_of_decoder(output.decoder.text)
            )
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
                hint=self._hint_of_free(OutputRef(decoder.name, 0), adding=False),
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
                twice = (
                    f"by {other[0]} and by {user}"
                    if other[0] != user
                    else f"for two things that {user} does"
                )
                self.names.found.report(
                    "E602",
                    f"{ref} is used twice: {twice}",
                    output.span,
                    expected="an output that nothing else is wired to",
                    hint=self._hint_of_free(ref),
                    related=[(other[1].span, f"{other[0]} is wired to it here")],
                )
                return None
        return ref

    def free_output(self, near: str | None = None) -> OutputRef | None:
        """An output that no line names and that is given to nothing, first of all on this
        decoder; None if there is none."""
        return next(self.free_outputs(near), None)

    def free_outputs(self, near: str | None = None) -> Iterator[OutputRef]:
        """All of those."""
        taken = {ref for ref, _ in self.users} | self.stated
        taken |= {ref for refs in self.allotted.values() for ref in refs}
        for decoder in sorted(self.decoders.values(), key=lambda d: d.name != near):
            for index in range(1, decoder.kind.outputs + 1):
                if (decoder.name, index) not in taken:
                    yield OutputRef(decoder.name, index)

    def _hint_of_decoder(self, name: str) -> str | None:
        """What to write for a decoder that is not there, if no other is meant."""
        described = [kind for kind, known in self.kinds.items() if known is not None]
        if nearest(name, self.decoders) is not None or not described:
            return None
        return f"add `decoder {name} {described[0] if len(described) == 1 else 'KIND'}`"

    def _hint_of_free(self, near: OutputRef, *, adding: bool = True) -> str | None:
        free = self.free_output(near.decoder)
        if free is not None:
            return f"{free} is free"
        if not adding:
            return None
        return f"no output is free: add a decoder, such as `decoder {self._unused()} {{}}`".format(
            self.decoders[near.decoder].kind.name
        )

    def _unused(self) -> str:
        """A name for one more decoder."""
        numbers = (f"K{n}" for n in range(1, len(self.decoders) + 2))
        return next(name for name in numbers if name not in self.names.bearers)


def build_decoders(lines: Iterable[t.DecoderLine], bench: Bench) -> None:
    """Enter the decoders, with no two sharing an address that is stated for them.

    Those without one have 0 until `assign_addresses` chooses one.
    """
    bench.decoders = enter(lines, bench.kinds, DECODERS, bench.names)


def assign_addresses(bench: Bench) -> None:
    """Choose an address for each decoder that states none, in their order."""
    choose_addresses(bench.decoders, DECODERS, bench.names.found)
