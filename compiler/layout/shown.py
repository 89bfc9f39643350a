"""From the lines about bridges, platforms and notes to what the picture is to show."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from bellcrank.diagnostics import Noun
from bellcrank.layout.above import DRAWN
from bellcrank.layout.declared_names import Names
from bellcrank.layout.shown_model import BridgeOver, PlacedNote, Platform, Shown
from bellcrank.layout.track import PIECE
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import Program

NOTED = Noun("a", "piece, fitting, edge or signal")


@dataclass(frozen=True, slots=True)
class Drawable:
    """The names of what is drawn. pieces: plain pieces of track. lines: elements and edges.
    all: these and the signals."""

    pieces: Collection[str]
    lines: Collection[str]
    all: Collection[str]


def build_shown(program: Program, drawable: Drawable, names: Names) -> Shown:
    """What the picture is to show besides track and signals.

    Reports names that are none of what can be meant, and bridges that contradict each other.
    """
    platforms = [
        Platform(line.label.text, line.place.where, pieces, line.span)
        for line in program.of(t.PlatformLine)
        if (pieces := _known(line.place.names, PIECE, drawable.pieces, names))
    ]
    notes, remarks = [], []
    for line in program.of(t.NoteLine):
        if line.place is None:
            remarks.append(line.text.text)
        elif of := _known(line.place.names, NOTED, drawable.all, names):
            notes.append(PlacedNote(line.text.text, line.place.where, of, line.span))
    bridges = _bridges(program.of(t.BridgeLine), drawable.lines, names)
    return Shown(bridges, tuple(platforms), tuple(notes), tuple(remarks))


def _known(
    words: Iterable[t.Word], what: Noun, known: Collection[str], names: Names
) -> tuple[str, ...]:
    """Those of some names that are known, each once; the others are reported."""
    kept: dict[str, None] = {}
    for word in words:
        if word.text in known:
            kept[word.text] = None
        else:
            names.unknown(word, what, known)
    return tuple(kept)


def _bridges(
    lines: Sequence[t.BridgeLine], drawn: Collection[str], names: Names
) -> tuple[BridgeOver, ...]:
    kept: dict[tuple[str, str], BridgeOver] = {}
    for line in lines:
        for word in (line.upper, *line.lower):
            if word.text not in drawn:
                names.unknown(word, DRAWN, drawn)
        for lower in line.lower:
            pair = (line.upper.text, lower.text)
            if not {*pair} <= set(drawn):
                continue
            contrary = kept.get(pair[::-1])
            if pair[0] == pair[1]:
                names.found.report(
                    "E332",
                    f"{lower} does not pass over itself",
                    lower.span,
                    expected="the name of the track below",
                )
            elif contrary is not None:
                names.found.report(
                    "E332",
                    f"{pair[0]} cannot pass over {pair[1]} and {pair[1]} over {pair[0]}",
                    lower.span,
                    hint="take one of these bridges out",
                    related=[(contrary.span, "said here")],
                )
            else:
                kept.setdefault(pair, BridgeOver(*pair, line.upper.span.to(lower.span)))
    return tuple(kept.values())
