"""The one list of names in a layout: who bears which, and where it was said."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from bellcrank.diagnostics import Collector, Noun, Span
from bellcrank.layout.layout_model import Work
from bellcrank.syntax.parse import RESERVED
from bellcrank.syntax.tree import DriveName, Word


def is_reserved(word: Word, found: Collector, more: Iterable[str] = ()) -> bool:
    """Whether a word belongs to the language, or to `more`; reports it if so."""
    if word.text not in RESERVED and word.text not in more:
        return False
    found.report(
        "E105",
        f"`{word}` is a word of the language and cannot be a name",
        word.span,
        hint=f"call it something else, such as `{word}1`",
    )
    return True


def work_named(name: DriveName) -> Work:
    """What the name of a drive stands for, whether there is such a drive or not."""
    return Work(name.element.text, name.drive.text if name.drive else "")


@dataclass(slots=True)
class Names:
    """Elements, sections, signals, edges, decoders, detectors, supplies and named
    routes share one list, so that a name means one thing wherever it is read."""

    found: Collector
    bearers: dict[str, tuple[Noun, Span]] = field(default_factory=dict)
    doubtful: set[str] = field(default_factory=set)
    """Words of declarations whose kind is not known, or not which drives it has, and names that
    cannot be names: what is said of them elsewhere follows from that."""
    guessed: set[str] = field(default_factory=set)
    """Fittings whose kind is guessed: what lines they lack may follow from that."""
    nameless: Counter[Noun] = field(default_factory=Counter)
    """Things that bear the name of another of their kind: of each, one name that stands for
    nothing may be its own."""
    missed: set[tuple[str, Noun]] = field(default_factory=set)
    """Names that were reported to stand for nothing: once is enough."""

    def claim(self, word: Word, what: Noun) -> bool:
        """Give a name to a thing. Reports and returns False if it cannot have it."""
        if is_reserved(word, self.found):
            self.doubtful.add(word.text)  # whoever names it means this thing
            return False
        if word.text in self.bearers:
            other, span = self.bearers[word.text]
            if other == what:
                self.nameless[what] += 1
                self.found.report(
                    "E202",
                    f"`{word}` is the name of {what} already",
                    word.span,
                    hint="give one of them another name",
                    related=[(span, "named here first")],
                )
            else:
                self.found.report(
                    "E203",
                    f"`{word}` is the name of {other} and cannot also be {what}",
                    word.span,
                    hint="give one of them another name",
                    related=[(span, f"{other} `{word}`")],
                )
            return False
        self.bearers[word.text] = (what, word.span)
        return True

    def unknown(
        self, word: Word, what: Noun, known: Iterable[str], hint: str | None = None
    ) -> None:
        """Report a name that is not of the kind asked for.

        what: what was looked for.
        known: the names that would have been right.
        hint: what to write instead, if that is known better than by the nearest name.
        Nothing is reported of a name that a thing of this very kind bears: it is
        missing because it is faulty, which has been reported. Nor of one that was reported, nor
        of as many as things of this kind have the name of another, for they may be meant.
        """
        other = self.bearers.get(word.text)
        if other is not None and other[0] == what:
            return
        if word.text in self.doubtful or (word.text, what) in self.missed:
            return
        self.missed.add((word.text, what))
        if other is None and self.nameless[what]:
            self.nameless[what] -= 1
            return
        names = sorted(known)
        message = f"there is no {what.noun} `{word}`"
        if other is not None:
            message = f"`{word}` is {other[0]}, not {what}"
        self.found.report(
            "E201",
            message,
            word.span,
            expected=f"{what}: {_some(names)}" if names else str(what),
            hint=hint or self.found.did_you_mean(word.text, names),
            related=[(other[1], f"{other[0]} `{word}`")] if other is not None else (),
        )


def _some(names: list[str]) -> str:
    shown = ", ".join(names[:8])
    return shown + (f" or one of {len(names) - 8} more" if len(names) > 8 else "")
