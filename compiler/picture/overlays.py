"""What is laid over the plan: classes, rings, arrows, notes and lines of text.

An overlay leaves the track where it is, so that pictures of one layout can be laid side
by side. Nothing is told by colour alone: lines differ in width and dashes, places are
ringed, steps are numbered, and the text below says it in words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, get_args

NoteKind = Literal["position", "flank", "step"]

NOTE_KINDS: tuple[NoteKind, ...] = get_args(NoteKind)

WayKey = tuple[str, frozenset[str]]
"""An element and the two legs of a way through it."""

Named = tuple[Literal["element", "signal"], str]
"""What has a name in the picture; an element and a signal may have the same."""


@dataclass(frozen=True, slots=True)
class Note:
    """A few words beside an element, a signal or an edge."""

    of: str
    text: str
    kind: NoteKind


@dataclass(frozen=True, slots=True)
class Arrow:
    """That trains run over an element from one leg to another."""

    element: str
    entry: str
    exit: str
    second: bool = False


@dataclass(frozen=True, slots=True)
class Overlay:
    """Classes for elements, ways and signals, marks, and what is said in words.

    aspects: what signals show that are off. rings: the elements at which something
    meets. text: lines below the picture. beneath: lines below the name of something.
    """

    elements: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    ways: Mapping[WayKey, tuple[str, ...]] = field(default_factory=dict)
    signals: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    aspects: Mapping[str, str] = field(default_factory=dict)
    rings: tuple[str, ...] = ()
    arrows: tuple[Arrow, ...] = ()
    notes: tuple[Note, ...] = ()
    sentence: str = ""
    text: tuple[str, ...] = ()
    beneath: Mapping[Named, tuple[str, ...]] = field(default_factory=dict)


NOTHING = Overlay()
