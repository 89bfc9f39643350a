"""Reading a text from the disk: the one place where the compiler does so."""

from __future__ import annotations

from pathlib import Path

from bellcrank.diagnostics import Collector, Span, did_you_mean, nearest

LARGEST_FILE = 16_000_000
"""Bytes."""


def read_text(
    path: Path, name: str, asked: Span, found: Collector, texts: dict[str, str], what: str
) -> str | None:
    """The text of a file, or None with the reason reported.

    name: what messages call it. asked: the words that ask for it. what: what it
        should be, such as "layout". texts: takes in what can be shown of a file that
        is not UTF-8.
    """
    try:
        if path.exists() and not path.is_file():
            if path.is_dir():
                said = f"{name} is a folder, not a {what}"
                hint = _file_in(path, name) if what == "layout" else None
            else:
                said, hint = f"{name} is not a file that holds text", None
            found.report("E702", said, asked, hint=hint)
            return None
        if path.is_file() and path.stat().st_size > LARGEST_FILE:
            found.report(
                "E103", f"{name} has over {LARGEST_FILE:,} bytes; that is not a {what}", asked
            )
            return None
        data = path.read_bytes()
    except FileNotFoundError:
        found.report("E702", f"there is no file {name}", asked, hint=_similar_file(path))
        return None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        found.report("E702", f"{name} cannot be read: {reason}", asked)
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        texts[name] = data.decode("utf-8", "replace")
        before = data[: error.start]
        line = before.count(b"\n") + 1
        column = len(before.rsplit(b"\n", 1)[-1].decode("utf-8", "replace")) + 1
        found.report(
            "E102",
            f"{name} is not UTF-8: byte {error.start + 1} (0x{data[error.start]:02X}) "
            "stands for no character",
            Span(name, line, column, line, column + 1),
            expected="text saved as UTF-8",
            hint="save the file again with the encoding UTF-8",
        )
        return None
    return as_read(text)


def as_read(text: str) -> str:
    """A text as the compiler has it: without a mark before it, its line ends plain."""
    return text.removeprefix("\ufeff").replace("\r\n", "\n")


def _file_in(folder: Path, name: str) -> str | None:
    """A hint naming the only layout in a folder."""
    try:
        files = [p.name for p in folder.glob("*.crank")]
    except OSError:
        return None
    return f"name the file in it: `{Path(name) / files[0]}`" if len(files) == 1 else None


def _similar_file(path: Path) -> str | None:
    """A hint naming the file in the same folder that is most like one that is not there.

    Files of one kind have their suffix in common, whatever they are called.
    """
    try:
        files = [p for p in path.parent.iterdir() if p.is_file()]
    except OSError:
        return None
    stem = nearest(path.stem, [p.stem for p in files])
    alike = [p.name for p in files if p.stem == stem]
    return did_you_mean(nearest(path.name, alike) or min(alike), alike) if alike else None
