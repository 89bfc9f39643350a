"""How the commands write a set of files that were made from one layout."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from bellcrank.compilation import Checked
from bellcrank.file_sets.manifest import Origin
from bellcrank.file_sets.write_set import Written, write_set
from bellcrank.terminal.console import say
from bellcrank.version import NOTICE, __version__


def write_all(folder: Path, files: Mapping[str, bytes], c: Checked) -> Written:
    """Write files into a folder, as one set, and tell what became of those of earlier builds.

    Raises NotWrittenError, with the reason as a sentence.
    """
    origin = Origin(NOTICE, c.status, f"bellcrank {__version__}", c.source_hash)
    written = write_set(folder, files, origin)
    for path in written.removed:
        say(f"{path} is removed: an earlier build wrote it, of another source or verdict")
    for path in written.left:
        say(f"{path} is left: an earlier build wrote it, but it was changed since")
    return written
