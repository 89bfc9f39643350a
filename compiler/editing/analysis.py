"""What is known of one layout as it stands in the editor: its files, and what they say."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from bellcrank.compilation import Draft, draft_of
from bellcrank.editing.names import Names
from bellcrank.syntax.load import load_file, load_text

Place = Path | str
"""Where a text is from: a file by its resolved path, or a text that is in no file by its URI."""


class SupersededError(Exception):
    """Nobody wants the result any more: the texts have changed."""


class Superseding:
    """Lets work be given up between two stages."""

    def __init__(self) -> None:
        self._given_up = threading.Event()

    def give_up(self) -> None:
        self._given_up.set()

    def __call__(self, _: str) -> None:
        """Raises SupersededError once the work is given up."""
        if self._given_up.is_set():
            raise SupersededError


@dataclass(frozen=True)
class Analysis:
    """A layout, as far as it could be made out.

    root: the file or text that it begins with. draft: what its texts say.
    """

    root: Place
    draft: Draft

    @cached_property
    def source_hash(self) -> str:
        return self.draft.source_hash

    @cached_property
    def names(self) -> Names:
        return Names(self.draft.program)

    @cached_property
    def places(self) -> dict[str, Place]:
        """Where each file is, by the name that messages call it."""
        return {name: self._place(name) for name in self.draft.program.texts}

    @cached_property
    def name_of(self) -> dict[Place, str]:
        """What messages call each file."""
        return {place: name for name, place in self.places.items()}

    def _place(self, name: str) -> Place:
        if isinstance(self.root, str) or name == self.root.name:
            return self.root
        return (self.root.parent / name).resolve()


def analyse(root: Place, texts: Mapping[Place, str], progress: Superseding) -> Analysis:
    """Compile a layout as far as its routes and its locking.

    texts: those that are open, which stand for those on the disk.
    Raises SupersededError once the work is given up.
    """
    progress("reading")
    if isinstance(root, str):
        read = load_text(texts[root].replace("\r\n", "\n"), "layout.crank")
    else:
        unsaved = {place: text for place, text in texts.items() if isinstance(place, Path)}
        read = load_file(root, unsaved=unsaved)
    return Analysis(root, draft_of(*read, progress))
