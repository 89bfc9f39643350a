"""Which layouts a file belongs to: those that use it, through however many files.

A file that nobody uses is a layout by itself, and so is one that has a `layout` line: of that
only those users count that are open as well.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from pathlib import Path

from bellcrank.editing.analysis import Place

MOST_FILES = 300
"""Files in the folders round an open one that are looked into."""

_USE = re.compile(r'^[ \t]*use[ \t]+"([^"\n]+)"', re.MULTILINE)
_LAYOUT = re.compile(r"^[ \t]*layout\b", re.MULTILINE)


class Uses:
    """Remembers which file on the disk uses which."""

    def __init__(self) -> None:
        self._read: dict[Path, tuple[tuple[int, int], frozenset[Path]]] = {}

    def roots(
        self, place: Place, texts: Mapping[Place, str], folders: Iterable[Path]
    ) -> tuple[Place, ...]:
        """The layouts that a file belongs to.

        texts: those that are open. folders: those that the editor works in; files above
            them are not looked into.
        """
        if isinstance(place, str):
            return (place,)
        used = self._all(place, texts, folders)
        users: dict[Path, set[Path]] = {}
        for user, files in used.items():
            for file in files:
                users.setdefault(file, set()).add(user)
        above: set[Path] = set()
        waiting = [place]
        while waiting:
            for user in users.get(waiting.pop(), ()):
                if user not in above:
                    above.add(user)
                    waiting.append(user)
        roots = {file for file in above if not users.get(file)}
        if _LAYOUT.search(texts.get(place, "")):
            roots = {place, *roots.intersection(texts)}
        return tuple(sorted(roots or {place}))

    def _all(
        self, place: Path, texts: Mapping[Place, str], folders: Iterable[Path]
    ) -> dict[Path, frozenset[Path]]:
        """What each file uses that may have to do with one."""
        used = {path: _used(path, text) for path, text in texts.items() if isinstance(path, Path)}
        for path in _near(place, folders):
            if path not in used:
                used[path] = self._on_disk(path)
        return used

    def _on_disk(self, path: Path) -> frozenset[Path]:
        try:
            state = path.stat()
            stamp = (state.st_mtime_ns, state.st_size)
            if path not in self._read or self._read[path][0] != stamp:
                text = path.read_text("utf-8-sig", "replace")
                self._read[path] = (stamp, _used(path, text))
        except OSError:
            return frozenset()
        return self._read[path][1]


def _near(place: Path, folders: Iterable[Path]) -> list[Path]:
    """Layout files in the folder of one and in those above it."""
    tops = [folder for folder in folders if place.is_relative_to(folder)]
    found: list[Path] = []
    for folder in place.parents:
        try:
            found += sorted(file.resolve() for file in folder.glob("*.crank"))
        except OSError:
            break
        if folder in tops or not tops or len(found) > MOST_FILES:
            break
    return found[:MOST_FILES]


def _used(path: Path, text: str) -> frozenset[Path]:
    # A file may use others from the folder of the layout, which is its own or one above.
    folders = (path.parent, *list(path.parents)[1:4])
    return frozenset(
        file
        for match in _USE.finditer(text)
        for folder in folders
        if (file := _resolved(folder, match[1])) is not None and file != path
    )


def _resolved(folder: Path, name: str) -> Path | None:
    try:
        file = (folder / name).resolve()
        return file if file.is_file() else None
    except (OSError, ValueError, RuntimeError):
        return None
