"""Why a set of files was not written."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class NotWrittenError(Exception):
    """The old set is as it was, or is told to be unfinished; the message is a sentence.

    number: what the system called it (errno); None if it was not the system.
    """

    def __init__(self, sentence: str, number: int | None = None) -> None:
        super().__init__(sentence)
        self.number = number


@contextmanager
def told_of(path: Path) -> Iterator[None]:
    """Let what the system says be told of the path that the user knows."""
    try:
        yield
    except OSError as error:
        said = error.strerror or (os.strerror(error.errno) if error.errno else str(error))
        raise NotWrittenError(f"{path} cannot be written: {said}", error.errno) from error
