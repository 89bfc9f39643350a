"""Which chapters of the sheets are printed, in which order, and under which number."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from bellcrank.diagnostics import did_you_mean
from bellcrank.document.document_types import Document

Word = Literal[
    "cover",
    "plan",
    "parts",
    "wiring",
    "drives",
    "frogs",
    "feeds",
    "checklist",
    "noticed",
    "control",
    "labels",
    "cards",
]
"""What the option calls a chapter; chapters are printed in this order, whichever are chosen.

What lies across, is printed to scale or is handed out by the page comes last, so that the others
follow each other without white between them."""

TITLES: dict[Word, str] = {
    "cover": "Cover",
    "plan": "Track plan",
    "parts": "Parts list",
    "wiring": "Wiring, decoder by decoder",
    "drives": "Wiring, drive by drive",
    "frogs": "Frogs",
    "feeds": "Feeds and gaps",
    "checklist": "Commissioning checklist",
    "noticed": "What the railway notices",
    "control": "Control table",
    "labels": "Labels",
    "cards": "Job cards",
}

WORDS: tuple[Word, ...] = get_args(Word)

AT_REQUEST: frozenset[Word] = frozenset({"drives", "cards"})
"""What the others say already, in the order of another job at the bench."""


@dataclass(frozen=True, slots=True)
class Chapter:
    """A chapter. number: its place among those that have one, None for cover and plan, and for
    one that this layout has nothing for. lacks: what the layout lacks for it."""

    word: Word
    title: str
    number: int | None
    lacks: str | None


def chosen_chapters(document: Document, chosen: str) -> list[Chapter]:
    """The chapters that are printed.

    chosen: `usual`, `all`, or words of chapters with commas between them.
    Raises ValueError, with a sentence, for a word that is none.
    """
    words = _words(chosen, document)
    chapters = []
    number = 0
    for word in WORDS:
        if word not in words:
            continue
        lacks = _lacks(word, document)
        numbered = word not in ("cover", "plan") and lacks is None
        number += numbered
        chapters.append(Chapter(word, TITLES[word], number if numbered else None, lacks))
    return chapters


def _words(chosen: str, document: Document) -> frozenset[str]:
    if chosen in ("usual", "all"):
        return frozenset(
            word
            for word in WORDS
            if (chosen == "all" or word not in AT_REQUEST)
            # Nobody asked for these where there are none.
            and (word not in ("noticed", "frogs") or not _lacks(word, document))
        )
    words = {word.strip() for word in chosen.split(",")}
    for word in sorted(words):
        if word not in WORDS:
            near = did_you_mean(word, (*WORDS, "usual", "all"))
            there_are = ", ".join(WORDS)
            raise ValueError(f"there is no chapter `{word}`: {near or f'there are {there_are}'}")
    # That a layout is not proved is told first, whatever is printed.
    return frozenset(words if document.status == "proved" else words | {"cover"})


def _lacks(word: Word, document: Document) -> str | None:
    hardware = document.hardware
    match word:
        case "wiring" if not (hardware.decoders or hardware.detectors):
            return "the layout names no decoder and all is done by hand"
        case "drives" if not hardware.decoders:
            return "the layout names no decoder and all is done by hand"
        case "frogs" if not document.layout.frogs:
            return (
                "on three rails none has to be switched"
                if document.layout.rails == 3
                else "no kind of fitting here states one"
            )
        case "noticed" if document.noticed is None:
            return "build with --broken all to find out"
        case "cards" if all(e.kind == "plain piece" for e in document.layout.elements):
            return "the layout has no fittings"
        case _:
            return None
