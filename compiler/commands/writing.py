"""How the commands write a set of files."""

from __future__ import annotations

from pathlib import Path

from bellcrank.atomic_files import write_files


def write_all(folder: Path, files: dict[str, bytes]) -> str:
    """Write files into a folder; a sentence if they cannot be written."""
    try:
        write_files(folder, files)
    except (FileExistsError, NotADirectoryError):
        return f"{folder} cannot be written to: it is, or lies in, a file and not a folder"
    except OSError as error:
        return f"{error.filename or folder} cannot be written: {error.strerror}"
    return ""
