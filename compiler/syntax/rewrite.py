"""The files of a layout written anew, all or none, and only as they were when read."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

from bellcrank.file_sets.single_files import write_files
from bellcrank.syntax.load import Program

_MARK = b"\xef\xbb\xbf"
"""What some editors put before UTF-8."""


class NotAsReadError(Exception):
    """A file is not what it was when it was read; a sentence without its full stop."""


def rewrite(
    program: Program, file: Path, names: Iterable[str], edit: Callable[[str, str], str]
) -> None:
    """Write some files of a program anew.

    file: the layout's own, which uses the others.
    edit: gives the new text of a file, from its name and its text as it is on the disk,
        with the line ends that it has there.
    Raises NotAsReadError if a file has changed since it was read, or lies outside the
    layout's folder, and OSError if one cannot be read or written; nothing is written then.
    """
    own = file.resolve()
    folder = own.parent
    changed: dict[str, bytes] = {}
    for name in names:
        path = (own if name == program.files[-1].name else folder / name).resolve()
        if not path.is_relative_to(folder):
            raise NotAsReadError(f"{name} lies outside the folder of the layout")
        mark, text = _as_on_disk(path, name, program.texts[name])
        changed[path.relative_to(folder).as_posix()] = mark + edit(name, text).encode("utf-8")
    write_files(folder, changed)


def _as_on_disk(path: Path, name: str, known: str) -> tuple[bytes, str]:
    """The mark before the text of a file, if it has one, and its text.

    known: the text as it was read.
    """
    data = path.read_bytes()
    mark = _MARK if data.startswith(_MARK) else b""
    text = data[len(mark) :].decode("utf-8", "replace")
    if text.replace("\r\n", "\n") != known:
        raise NotAsReadError(f"{name} has changed since it was read")
    return mark, text
