"""Where drives lie now, as somebody says it: `P1 straight, S1 diverging`."""

from __future__ import annotations

from bellcrank.diagnostics import did_you_mean
from bellcrank.layout.layout_model import Layout


class DrivesNowError(ValueError):
    """What was said of where drives lie cannot be; a sentence for people."""


def read_drives_now(text: str, layout: Layout) -> dict[str, str]:
    """The drives named, and where they lie; coupled drives count as the one they are.

    Raises DrivesNowError if something named is not there, or is said to lie in two positions.
    """
    now: dict[str, str] = {}
    drives = layout.drives_by_name()
    for part in text.split(","):
        words = part.split()
        if not words:
            continue
        if len(words) > 2 and words[-2] == "lies":
            del words[-2]
        *named, position = words
        name = " ".join(named)
        if not named or (len(words) != 2 and name not in drives):
            raise DrivesNowError(
                f"`{' '.join(words)}` does not say where a drive lies: "
                "write a drive and a position, such as `P1 straight, S1 diverging`"
            )
        if name not in drives:
            known = layout.drives_in(name)
            if known:
                raise DrivesNowError(f"{name} has several drives; say which: {' or '.join(known)}")
            raise DrivesNowError(f"there is no drive `{name}`" + perhaps(name, list(drives)))
        drive = layout.drives[drives[name]]
        if position not in drive.positions:
            raise DrivesNowError(
                f"{name} has no position `{position}`: it lies {' or '.join(drive.positions)}"
                + perhaps(position, list(drive.positions))
            )
        if now.setdefault(drive.name, position) != position:
            raise DrivesNowError(f"{name} cannot lie {now[drive.name]} and {position} at once")
    return now


def perhaps(word: str, known: list[str]) -> str:
    """What may have been meant by a word that is not known, to end a sentence with."""
    hint = did_you_mean(word, known)
    return f"; {hint}" if hint else ""
