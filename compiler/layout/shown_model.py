"""What the layout says of its picture alone: bridges, platforms and notes.

No route, no proof and no file for the bench depends on any of it.
"""

from __future__ import annotations

from dataclasses import dataclass

from bellcrank.diagnostics import Span
from bellcrank.syntax.tree import WhereDrawn


@dataclass(frozen=True, slots=True)
class BridgeOver:
    """The line of one element or edge passes over that of another where the two cross."""

    upper: str
    lower: str
    span: Span


@dataclass(frozen=True, slots=True)
class Platform:
    """A platform along plain pieces of track. label: what is written on it, perhaps nothing."""

    label: str
    where: WhereDrawn
    pieces: tuple[str, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class PlacedNote:
    """A text beside an element, an edge or a signal; beside several, near any of them."""

    text: str
    where: WhereDrawn
    of: tuple[str, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Shown:
    """All of it, each in the order of the text. remarks: texts that stand below the picture."""

    bridges: tuple[BridgeOver, ...] = ()
    platforms: tuple[Platform, ...] = ()
    notes: tuple[PlacedNote, ...] = ()
    remarks: tuple[str, ...] = ()
