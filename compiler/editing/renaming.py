"""A name changed in every place of a layout, or not at all.

It is refused where it could not be right: while some line cannot be read, for the name may stand
in it; for what is declared in no file of the layout, as the legs of standard fittings; for a name
that is taken, or no name. Before anything is changed the new texts are read, and each word of them
must mean what it meant before, with the one name changed.
"""

from __future__ import annotations

import re
from dataclasses import replace

from bellcrank.diagnostics import Span
from bellcrank.diagnostics.error_pages import kind_of
from bellcrank.editing.analysis import Analysis
from bellcrank.editing.names import (
    AspectOf,
    LegOf,
    Meaning,
    Names,
    Occurrence,
    PartOf,
    PositionOf,
    Role,
    Thing,
)
from bellcrank.syntax.insert import Edit, edited, words_for
from bellcrank.syntax.load import Program
from bellcrank.syntax.parse import LINE_STARTERS, RESERVED, parse

STOP = "stop"
"""The aspect that every signal has."""


class NotRenamedError(Exception):
    """Why a name is not changed, as a sentence without its full stop."""


def renamable(analysis: Analysis, occurrence: Occurrence) -> Meaning:
    """What a word means, of which the name can be changed. Raises NotRenamedError."""
    meaning = occurrence.meaning
    if meaning is None or not isinstance(meaning, Thing | LegOf | PartOf | PositionOf | AspectOf):
        raise NotRenamedError(f"`{occurrence.text}` is not a name that can be changed")
    if any(kind_of(d.code).stage == "text" and d.severity == "error"
           for d in analysis.draft.diagnostics):  # fmt: skip
        raise NotRenamedError(
            "some lines cannot be read, and the name may stand there; mend them first"
        )
    if isinstance(meaning, AspectOf) and meaning.name == STOP:
        raise NotRenamedError(f"the first aspect of a signal is always called `{STOP}`")
    if not any(o.declared for o in analysis.names.of(meaning)):
        raise NotRenamedError(f"`{occurrence.text}` is declared in no file of this layout")
    return meaning


def renamed(analysis: Analysis, meaning: Meaning, new: str) -> dict[str, list[Span]]:
    """The places at which a new name is to be written, by file. Raises NotRenamedError."""
    names = analysis.names
    if re.fullmatch(r"\w+", new) is None:
        raise NotRenamedError(f"`{new}` cannot be a name: names have letters, digits and _")
    if new in RESERVED or new in LINE_STARTERS:
        raise NotRenamedError(f"`{new}` is a word of the language and cannot be a name")
    if _changed(meaning, new) in {o.meaning for o in names.occurrences} or (
        isinstance(meaning, Thing) and new in analysis.draft.layout.where
    ):
        raise NotRenamedError(f"`{new}` is the name of something else")
    places: dict[str, list[Span]] = {}
    for occurrence in names.of(meaning):
        places.setdefault(occurrence.span.file, []).append(occurrence.span)
    _try(analysis, meaning, new, places)
    return places


def _changed(meaning: Meaning, new: str) -> Meaning:
    return replace(meaning, name=new)


def _try(analysis: Analysis, meaning: Meaning, new: str, places: dict[str, list[Span]]) -> None:
    """Raises NotRenamedError if the texts with the new name do not mean the same."""
    program = analysis.draft.program
    files, texts = [], dict(program.texts)
    for file in program.files:
        if file.name in places:
            text = texts[file.name]
            edits: list[Edit] = [words_for(text, span, new) for span in places[file.name]]
            texts[file.name] = edited(text, edits)
            file, found = parse(texts[file.name], file.name)
            if found:
                raise NotRenamedError(f"with the name `{new}` the layout could not be read")
        files.append(file)
    after = Names(Program(tuple(files), texts)).occurrences
    if [_known(o) for o in after] != [
        _known(_with_name(o, meaning, new)) for o in analysis.names.occurrences
    ]:
        raise NotRenamedError(f"with the name `{new}` some line would mean something else")


def _known(o: Occurrence) -> tuple[str, Role, Meaning | None, str | None]:
    return o.text, o.role, o.meaning, o.declared


def _with_name(o: Occurrence, meaning: Meaning, new: str) -> Occurrence:
    if o.meaning == meaning:
        return replace(o, text=new, meaning=_changed(meaning, new))
    if (
        isinstance(meaning, PartOf)
        and isinstance(o.meaning, PositionOf)
        and not meaning.frog
        and (o.meaning.kind, o.meaning.drive) == (meaning.kind, meaning.name)
    ):
        return replace(o, meaning=replace(o.meaning, drive=new))  # a position of that drive
    if (
        isinstance(meaning, Thing)
        and isinstance(o.meaning, AspectOf)
        and o.meaning.signal == meaning.name
    ):
        return replace(o, meaning=replace(o.meaning, signal=new))  # an aspect of that signal
    return o
