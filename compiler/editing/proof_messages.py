"""What the server and the process that proves say to each other: one JSON value a line."""

from __future__ import annotations

from typing import Literal

import msgspec

from bellcrank.diagnostics import Span


class Asked(msgspec.Struct, frozen=True, tag="asked"):
    """A layout to be proved.

    root: the path of its file, or the address of a text that is in no file.
    texts: those that are open and stand for those on the disk, by path or address.
    """

    root: str
    in_file: bool
    texts: dict[str, str]


class GiveUp(msgspec.Struct, frozen=True, tag="give up"):
    """Nobody wants what was asked for any more. It is answered by `GivenUp`."""


Wanted = Asked | GiveUp
"""What the server says."""


class Step(msgspec.Struct, frozen=True):
    """Something that happens, or belongs to a finding, and where in the source."""

    sentence: str
    at: Span


Gravity = Literal["error", "warning", "information"]


class Finding(msgspec.Struct, frozen=True):
    """Something that the proof has to say of a place. steps: other places, in their order."""

    gravity: Gravity
    outcome: str
    sentence: str
    at: Span
    steps: tuple[Step, ...] = ()


class Verdict(msgspec.Struct, frozen=True, tag="verdict"):
    """What the proof came to.

    source_hash: of the source that was proved, as `Draft.source_hash` has it.
    more: whether missing rules are still looked for.
    """

    source_hash: str
    findings: tuple[Finding, ...]
    more: bool = False


class Mending(msgspec.Struct, frozen=True, tag="mending"):
    """Rules that the written locking lacks: the texts of the files with them, by the names that
    messages call the files; none if none were found."""

    source_hash: str
    lines: tuple[str, ...]
    texts: dict[str, str]


class NotProved(msgspec.Struct, frozen=True, tag="not proved"):
    """There is nothing to prove. reason: what failed, if that is a fault of the program."""

    reason: str = ""


class GivenUp(msgspec.Struct, frozen=True, tag="given up"):
    """What was asked for before is given up, and something else can be asked for."""


Answer = Verdict | Mending | NotProved | GivenUp
