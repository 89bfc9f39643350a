"""What is to become of each file in a folder when a new set is written into it."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from bellcrank.file_sets.manifest import (
    MANIFEST,
    Manifest,
    Origin,
    digest,
    digest_of,
    read_manifest,
)
from bellcrank.file_sets.not_written import NotWrittenError

Identity = tuple[int, int]
"""Which file or folder it is, whatever its name: device and inode."""


@dataclass(frozen=True, slots=True)
class Plan:
    """What is written into a folder, and what becomes of what lies in it.

    told: the folder as messages call it.
    put: the new files by path, the manifest last.
    ours: what an earlier build has left there and nobody has changed, each with its hash:
        of these
    keep: files of an earlier build of the same origin.
    drop: files of an earlier build of another origin, each with its hash.
    others: files of the user's own that lie beside them, and those that are put though
        they are there, with the same bytes.
    changed: those of an earlier build that were changed since; they are the user's now.
    folders: whether folders of the user's own lie among the files.
    """

    told: Path
    put: Mapping[str, bytes]
    ours: Mapping[str, str] = field(default_factory=dict)
    keep: tuple[str, ...] = ()
    drop: Mapping[str, str] = field(default_factory=dict)
    others: Mapping[str, Identity] = field(default_factory=dict)
    changed: tuple[str, ...] = ()
    folders: bool = False


def identity(path: Path) -> Identity:
    """Raises OSError if there is nothing."""
    there = path.lstat()
    return (there.st_dev, there.st_ino)


def planned(place: Path, told: Path, files: Mapping[str, bytes], origin: Origin) -> Plan:
    """What is to be done so that a folder holds a set of files.

    place: the folder, without links; it need not be there.
    Raises NotWrittenError if a file of the user's own would be overwritten, or a link
    followed.
    """
    manifest = read_manifest(place)
    listed = dict(manifest.files) if manifest is not None else {}
    if manifest is not None:
        listed[MANIFEST] = digest(read(place / MANIFEST))
    ours = {
        name: sha
        for name, sha in listed.items()
        if digest_of(place / name) == sha and not _through_a_link(place, name)
    }
    for name, data in [*files.items(), (MANIFEST, b"")]:
        look_at_the_way(place, told, name, ours)
        if name not in ours and _in_the_way(place / name, data):
            why = "it was changed since it was built" if name in listed else "no build wrote it"
            if (place / name).is_dir():
                why = "it is a folder"
            raise NotWrittenError(
                f"{told / name} cannot be written: something is in the way, and {why}; "
                "move it away, or write into another folder"
            )
    rest = {name: sha for name, sha in ours.items() if name not in files and name != MANIFEST}
    same = manifest is not None and manifest.origin == origin
    keep = tuple(name for name in rest if same and not _clashes(name, files))
    hashes = {name: digest(data) for name, data in files.items()}
    hashes |= {name: rest[name] for name in keep}
    others, folders = _others(place, ours)
    return Plan(
        told,
        {**files, MANIFEST: Manifest(origin, hashes).text()},
        ours,
        keep,
        {name: sha for name, sha in rest.items() if name not in keep},
        others,
        tuple(n for n in listed if n in others and n not in files and n != MANIFEST),
        folders,
    )


def read(path: Path) -> bytes:
    """The bytes of a file; none if it cannot be read."""
    try:
        return path.read_bytes()
    except OSError:
        return b""


def folders_above(name: str) -> list[PurePosixPath]:
    """The folders in which a path lies, from the outermost."""
    return list(PurePosixPath(name).parents)[-2::-1]


def _through_a_link(place: Path, name: str) -> bool:
    return any((place / above).is_symlink() for above in folders_above(name))


def look_at_the_way(place: Path, told: Path, name: str, ours: Mapping[str, str]) -> None:
    """Raises NotWrittenError if what should be a folder above a file is a link or a file."""
    for above in folders_above(name):
        at = place / above
        if at.is_symlink():
            raise NotWrittenError(
                f"{told / name} cannot be written: {told / above} is a link, which may lead "
                "anywhere; remove it, or write into another folder"
            )
        if at.exists() and not at.is_dir() and above.as_posix() not in ours:
            raise NotWrittenError(
                f"{told / name} cannot be written: {told / above} is a file, not a folder; "
                "move it away, or write into another folder"
            )


def _in_the_way(path: Path, data: bytes) -> bool:
    """Whether something lies there that would be lost. A file with the same bytes is not."""
    try:
        there = path.lstat()
    except OSError:
        return False
    same_size = stat.S_ISREG(there.st_mode) and there.st_size == len(data)
    return not (same_size and read(path) == data)


def _clashes(name: str, files: Mapping[str, bytes]) -> bool:
    """Whether one of the files needs as a folder what this is, or the other way round."""
    return any(
        new.startswith(f"{name}/") or name.startswith(f"{new}/") for new in [*files, MANIFEST]
    )


def _others(place: Path, ours: Mapping[str, str]) -> tuple[dict[str, Identity], bool]:
    """The files of the user's own, and whether there are folders too. Only folders that
    a build has made are looked into: the user's own may hold anything."""
    made = {above.as_posix() for name in ours for above in PurePosixPath(name).parents} | {"."}
    others: dict[str, Identity] = {}
    folders = False
    for name, entry in _entries(place, made):
        if not entry.is_dir(follow_symlinks=False):
            if name not in ours:
                with suppress(FileNotFoundError):  # it has been taken away since
                    others[name] = identity(Path(entry.path))
        elif name not in made:
            folders = True
    return others, folders


def _entries(place: Path, made: set[str]) -> Iterator[tuple[str, os.DirEntry[str]]]:
    for folder in sorted(made):
        try:
            with os.scandir(place / folder) as found:
                entries = sorted(found, key=lambda entry: entry.name)
        except (FileNotFoundError, NotADirectoryError):
            continue
        for entry in entries:
            yield (PurePosixPath(folder) / entry.name).as_posix(), entry
