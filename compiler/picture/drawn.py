"""The plan as values: each element, joint, signal and end of track with its place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from bellcrank.layout.layout_model import Edge, Leg, Position, Stop
from bellcrank.layout.shown_model import BridgeOver, Platform
from bellcrank.picture.geometry import Box, Path, Point
from bellcrank.picture.wished import Unkept
from bellcrank.syntax.tree import Table

SLIP_CURVE = 19.0
"""How far from the middle of a slip its slip roads leave the straight ones, in pixels."""

TURNTABLE = 26.0
"""Radius of a turntable."""

TABLE = 20.0
"""How far from the middle of a frame its legs end, in pixels; the ways lie between."""


@dataclass(frozen=True, slots=True)
class DrawnWay:
    """A way through an element: a path from one leg to the other.

    curve: where the path is not straight lines and arcs, the point that it bends
    towards between its two parts.
    """

    legs: tuple[str, str]
    when: tuple[Position, ...]
    parts: tuple[Path, ...]
    curve: Point | None = None


@dataclass(frozen=True, slots=True)
class DrawnElement:
    """An element: its ways, the middle of it, and whether it is a fitting.

    along: of a plain piece, its path. drives: where the drives of a slip are marked. frame: two
    corners of what is round it. table: what that looks like, if not a plain frame.
    """

    name: str
    ways: tuple[DrawnWay, ...]
    middle: Point
    along: Path | None
    drives: tuple[tuple[str, Point], ...] = ()
    frame: tuple[Point, Point] | None = None
    table: Table | None = None


@dataclass(frozen=True, slots=True)
class DrawnJoint:
    """Where two ends of track meet; `direction` is that of the track."""

    one: Leg | Edge
    other: Leg | Edge
    point: Point
    direction: Point
    section_end: bool


@dataclass(frozen=True, slots=True)
class DrawnSignal:
    """A signal: its joint, and the direction in which trains read it."""

    name: str
    point: Point
    direction: Point
    left: bool

    def place(self, along: float, aside: float) -> Point:
        """A point in the signal's own frame: ahead of its joint and away from the line."""
        t = self.direction
        n = Point(t.y, -t.x) if self.left else Point(-t.y, t.x)
        return Point(
            self.point.x + t.x * along + n.x * aside, self.point.y + t.y * along + n.y * aside
        )


@dataclass(frozen=True, slots=True)
class DrawnEnd:
    """An edge or a stop; `direction` leads out of the layout."""

    end: Edge | Stop
    point: Point
    direction: Point
    lead: Path | None = None


@dataclass(frozen=True, slots=True)
class Bridge:
    """Where one line crosses another without a fitting: over it, as drawn.

    over: the element of the upper line. direction: of that line.
    """

    over: str
    under: str
    point: Point
    direction: Point


@dataclass(frozen=True, slots=True)
class DrawnPlatform:
    """A platform: where it lies, and whether its label stands on it."""

    label: str
    box: Box
    inside: bool


@dataclass(slots=True)
class Plan:
    """The whole drawing, before names are placed.

    unkept: what the layout wants drawn above what, and is not. no_bridges, no_platforms: what
    it says of these that the picture does not show so.
    """

    elements: dict[str, DrawnElement] = field(default_factory=dict)
    joints: list[DrawnJoint] = field(default_factory=list)
    signals: dict[str, DrawnSignal] = field(default_factory=dict)
    ends: list[DrawnEnd] = field(default_factory=list)
    bridges: list[Bridge] = field(default_factory=list)
    platforms: list[DrawnPlatform] = field(default_factory=list)
    unkept: tuple[Unkept, ...] = ()
    no_bridges: tuple[BridgeOver, ...] = ()
    no_platforms: tuple[Platform, ...] = ()

    def paths(self) -> Iterator[Path]:
        """All track."""
        for element in self.elements.values():
            for way in element.ways:
                yield from way.parts
        for end in self.ends:
            if end.lead is not None:
                yield end.lead
