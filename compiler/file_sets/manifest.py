"""What a build wrote into a folder: `bellcrank-build.json`, which lies among the files."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path, PurePosixPath
from typing import Any

MANIFEST = "bellcrank-build.json"


@dataclass(frozen=True, slots=True)
class Origin:
    """What a set of files was made from, and whether that is proved.

    sha256: the hash of the source. Sets of one origin may lie in one folder.
    """

    notice: str
    status: str
    compiler: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Manifest:
    """The files of a set: the SHA-256 of each, by its path within the folder."""

    origin: Origin
    files: Mapping[str, str]

    def text(self) -> bytes:
        """As it is written."""
        said = asdict(self.origin) | {"files": dict(sorted(self.files.items()))}
        return (json.dumps(said, ensure_ascii=False, indent=1) + "\n").encode("utf-8")


def digest(data: bytes) -> str:
    """SHA-256, as hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def digest_of(path: Path) -> str | None:
    """The hash of a file; None if there is none, or only a link or a folder."""
    with suppress(OSError):
        if path.is_file() and not path.is_symlink():
            return digest(path.read_bytes())
    return None


def read_manifest(folder: Path) -> Manifest | None:
    """What the last build wrote; None if there is nothing that tells it."""
    path = folder / MANIFEST
    said = read_json(path)
    if said is None or path.is_symlink():
        return None
    origin = [said.get(name) for name in ("notice", "status", "compiler", "sha256")]
    files = paths_in(said.get("files"))
    if files is None or not all(isinstance(value, str) for value in origin):
        return None
    return Manifest(Origin(*map(str, origin)), {name: str(value) for name, value in files.items()})


def read_json(path: Path) -> dict[str, Any] | None:
    """An object of JSON; None if the file is not there or does not hold one."""
    with suppress(OSError, ValueError, RecursionError):
        if path.is_file() and path.stat().st_size <= _LONGEST:
            said = json.loads(path.read_bytes())
            if isinstance(said, dict):
                return said
    return None


_LONGEST = 100_000_000
"""Bytes. No manifest is as long; what lies in its place may be anything."""


def paths_in(said: Any) -> dict[str, Any] | None:
    """A mapping by paths. What leads out of the folder is left out: the file may come
    from anywhere."""
    if not isinstance(said, dict):
        return None
    return {name: value for name, value in said.items() if _inside(name)}


def _inside(name: str) -> bool:
    path = PurePosixPath(name)
    inside = bool(path.parts) and not path.is_absolute() and ".." not in path.parts
    return inside and path.as_posix() == name and not any(c in name for c in "\\:\0")
