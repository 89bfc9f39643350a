"""Writing a set of files so that no reader ever sees half of one.

All files are first written out whole under passing names in the same folder,
then each takes its place in one step. What stops the work before that leaves
the old files as they were.
"""

from __future__ import annotations

import errno
import os
import tempfile
from collections.abc import Mapping
from pathlib import Path


def write_files(folder: Path, files: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write files, given by paths relative to a folder; returns their paths.

    Raises OSError if the folder or a file cannot be written; then no old file
    has been replaced, unless it is the last step of putting a file in its
    place that fails.
    """
    passing: list[tuple[Path, Path]] = []
    try:
        for name, data in files.items():
            final = folder / name
            final.parent.mkdir(parents=True, exist_ok=True)
            handle, path = tempfile.mkstemp(prefix=".", suffix=".part", dir=final.parent)
            part = Path(path)
            passing.append((part, final))
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
            part.chmod(0o666 & ~_umask())
        for _, final in passing:
            if final.is_dir():
                raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(final))
        for part, final in passing:
            part.replace(final)
    finally:
        for part, _ in passing:
            part.unlink(missing_ok=True)
    return tuple(final for _, final in passing)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
