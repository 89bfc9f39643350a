"""The file of identifiers beside a layout, as commands read and write it.

It stands beside the layout and not among the files that are built: a build may replace those, and
this one is to be kept and looked through like the layout itself.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from bellcrank.compilation import Broken, Sound
from bellcrank.diagnostics import Collector, Diagnostic, Span
from bellcrank.emit.description import TargetError
from bellcrank.emit.identifiers import NOTHING_PINNED, SUFFIX, Pinned, read_pinned
from bellcrank.emit.render import range_of
from bellcrank.emit.target import Target
from bellcrank.file_sets.not_written import NotWrittenError
from bellcrank.file_sets.single_files import write_files
from bellcrank.syntax.reading import read_text


@dataclass(frozen=True, slots=True)
class Beside:
    """What stands beside a layout. texts: by file, to show what diagnostics are about."""

    pinned: Pinned = NOTHING_PINNED
    diagnostics: tuple[Diagnostic, ...] = ()
    texts: Mapping[str, str] = field(default_factory=dict)

    def broken(self, c: Sound) -> Broken:
        """The layout, as one that cannot be gone on with for what is wrong beside it."""
        program = replace(c.program, texts={**c.program.texts, **self.texts})
        return Broken(program, (*c.diagnostics, *self.diagnostics))


def identifiers_beside(file: Path, targets: Sequence[Target], given: Mapping[str, str]) -> Beside:
    """The identifiers that events of a layout have already, where a target needs any.

    Raises TargetError if no range is stated for them, or two.
    """
    ranges = {range_ for each in targets if (range_ := range_of(each, given)) is not None}
    if not ranges:
        return Beside()
    if len(ranges) > 1:
        raise TargetError(f"one file of identifiers cannot be in the ranges {', '.join(ranges)}")
    path = file.with_suffix(SUFFIX)
    if not path.exists():
        return Beside(Pinned(path.name))
    found, texts = Collector(), dict[str, str]()
    text = read_text(
        path, path.name, Span(path.name, 1, 1, 1, 2), found, texts, "file of identifiers"
    )
    if text is None:
        return Beside(diagnostics=found.result(), texts=texts)
    pinned, diagnostics = read_pinned(text, path.name, *ranges)
    return Beside(pinned, diagnostics, {path.name: text})


def write_identifiers(file: Path, before: Pinned, after: Pinned) -> tuple[Path, ...]:
    """Write the file anew if there are identifiers that it has not; returns what was written.

    Raises NotWrittenError if it cannot be written, or somebody has changed it meanwhile.
    """
    if after.identifiers == before.identifiers:
        return ()
    path = file.with_suffix(SUFFIX)
    try:
        there = path.read_text("utf-8-sig") if path.exists() else ""
        if there != before.text:
            raise NotWrittenError(f"{path} was changed meanwhile: build again")
        return write_files(path.parent, {path.name: after.text.encode("utf-8")})
    except (OSError, UnicodeDecodeError) as error:
        raise NotWrittenError(f"{path} cannot be written: {error}") from None
