"""Writing a few files, each of which is always whole: a picture, a record, changed texts.

All files are first written out whole under passing names in the same folder, then each
takes its place in one step. What stops the work before that leaves the old files as they
were; an error after it puts them back. After a kill each is whole, old or new, and the
next time one of them is written, what is left of the passing ones is cleared away. A set
of which no half may be seen is written by `file_sets`.
"""

from __future__ import annotations

import errno
import os
import stat
import sys
import tempfile
from collections.abc import Mapping
from contextlib import ExitStack, suppress
from pathlib import Path

from bellcrank.file_sets.manifest import digest
from bellcrank.file_sets.staging import held

SUFFIX = ".part"


def write_files(folder: Path, files: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write files, given by paths relative to a folder; returns their paths.

    A file that is there keeps its permissions. Raises OSError if the folder or a file
    cannot be written; then no old file has been replaced.
    """
    passing: list[tuple[Path, Path]] = []
    try:
        with ExitStack() as locks:
            for name, data in files.items():
                final = folder / name
                final.parent.mkdir(parents=True, exist_ok=True)
                part = _part(final, data, passing, locks)
                part.chmod(_permissions(final))
            for _, final in passing:
                if final.is_dir():
                    raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(final))
            if sys.platform == "win32":
                locks.close()  # there, what is open cannot be renamed
            _take_their_places(passing)
    finally:
        for part, _ in passing:
            part.unlink(missing_ok=True)
    return tuple(final for _, final in passing)


def write_new_file(path: Path, data: bytes) -> None:
    """Write a file under a name that is not taken; it is there whole or not at all.

    Raises FileExistsError if the name is taken, and OSError if it cannot be written.
    """
    passing: list[tuple[Path, Path]] = []
    try:
        with ExitStack() as locks:
            part = _part(path, data, passing, locks)
            part.chmod(0o666 & ~_umask())
        try:
            os.link(part, path)
        except FileExistsError:
            raise
        except OSError:  # a file system on which a file has but one name
            with path.open("xb") as stream:
                stream.write(data)
    finally:
        for part, _ in passing:
            part.unlink(missing_ok=True)


def _part(final: Path, data: bytes, passing: list[tuple[Path, Path]], locks: ExitStack) -> Path:
    """Write a file out under a passing name, locked as long as it stays open, so that one
    which a kill has left behind can be told."""
    # A name may be as long as a name can be, so it stands in the passing one as a hash.
    prefix = f".{digest(os.fsencode(final.name))[:12]}-"
    _clear_dead(final.parent, prefix)
    handle, name = tempfile.mkstemp(prefix=prefix, suffix=SUFFIX, dir=final.parent)
    part = Path(name)
    passing.append((part, final))
    stream = locks.enter_context(os.fdopen(handle, "wb"))
    held(handle)
    stream.write(data)
    stream.flush()
    os.fsync(stream.fileno())
    return part


def _clear_dead(folder: Path, prefix: str) -> None:
    """Clear away what a kill has left of a file."""
    with suppress(OSError):
        for part in folder.iterdir():
            if part.name.startswith(prefix) and part.suffix == SUFFIX and part.is_file():
                with part.open("rb") as stream:
                    dead = held(stream.fileno())
                if dead:
                    part.unlink()


def _take_their_places(passing: list[tuple[Path, Path]]) -> None:
    """Put files in their places. If one cannot be, those before it are as they were,
    except on file systems without hard links."""
    done: list[tuple[Path, Path | None]] = []
    saved: list[Path] = []
    try:
        for part, final in passing:
            old = None
            if len(passing) > 1 and os.path.lexists(final):
                old = part.with_name(f"{part.stem}-old{SUFFIX}")
                with suppress(OSError):
                    os.link(final, old, follow_symlinks=False)
                    saved.append(old)
            part.replace(final)
            done.append((final, old))
    except BaseException:
        for final, old in reversed(done):
            if old is None:
                final.unlink()
            elif old in saved:
                old.replace(final)
        raise
    finally:
        for old in saved:
            old.unlink(missing_ok=True)


def _permissions(final: Path) -> int:
    try:
        return stat.S_IMODE(final.stat().st_mode)
    except OSError:
        return 0o666 & ~_umask()


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
