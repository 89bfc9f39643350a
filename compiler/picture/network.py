"""Nodes, and the lines and chains between them: what all later steps place.

A node is a fitting, an end of track or a U-turn; a line leads rightwards from one to
another; a chain is track between two ends as the text has it, drawn with one line, or
with several where it turns back.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import ceil
from typing import Literal, NamedTuple

from bellcrank.layout.layout_model import Above, Hand, Leg, TrackEnd
from bellcrank.syntax.tree import Table

Shape = Literal["fan", "apex", "cross", "box", "end", "turn"]
"""How a node is drawn: legs that spread from one point, those of points to either side and the toe
away from both, two roads that cross, a frame with ways in it, the end of a line, or a U-turn."""

OTHER: Mapping[Hand, Hand] = {"left": "right", "right": "left"}


@dataclass(slots=True)
class Node:
    """A fitting, an end of track, or a U-turn.

    left, right: its legs on either side, from top to bottom, or all from bottom to top.
    level: of a fan or a cross, the legs that lie in line; the others slant. Of an apex, its toe. Of
    a frame, two legs
    that should lie in one row, if any. table: what the frame looks like, if that is said: from the
    middle of a turntable its roads fan out, across a traverser they lead level. reach: pixels that
    it takes up beyond where its line ends, for the name of an edge; alike for all edges on one
    side, so that of those in one column the lines end in one column.
    """

    number: int
    shape: Shape
    name: str
    left: list[Leg | None] = field(default_factory=list)
    right: list[Leg | None] = field(default_factory=list)
    level: frozenset[Leg] = frozenset()
    table: Table | None = None
    reach: float = 0.0

    def spread(self, hand: Hand) -> int:
        """Of a frame, in how many grid units its roads on one side come level."""
        if self.table != "turntable":
            return 1
        return max(2, ceil(FAN * (len(self.on(hand)) - 1)))

    @property
    def hand(self) -> Hand:
        """The side on which the lines of a U-turn, or of an end, lie."""
        return "left" if self.left else "right"

    def toe_at(self, hand: Hand, place: int) -> bool:
        """Whether a leg is the toe of an apex, which comes upright from another row."""
        return self.shape == "apex" and self.on(hand)[place] in self.level

    def on(self, hand: Hand) -> list[Leg | None]:
        return self.left if hand == "left" else self.right


FAN = 0.75
"""Units for each road beyond the first in which the roads of a turntable come level."""


class Port(NamedTuple):
    """Where a line meets a node: on one of its sides, at a place among its legs."""

    node: int
    hand: Hand
    place: int


@dataclass(slots=True)
class Line:
    """Track that leads rightwards from one node to another without a U-turn.

    need: the length it should have at least, in pixels.
    """

    number: int
    start: Port
    end: Port
    slants: tuple[bool, bool]
    bare: bool
    need: float = 0.0


@dataclass(slots=True)
class Chain:
    """Plain pieces in a row between two ends, as they follow each other.

    pieces: with the leg by which each is entered. parts: the lines that it is drawn
    with, and whether each leads on in its own direction (rightwards). left_out: how
    many level stretches at either end are no place for a signal, as other track is near.
    """

    first: TrackEnd
    pieces: list[Leg]
    last: TrackEnd
    parts: list[tuple[Line, bool]] = field(default_factory=list)
    left_out: tuple[int, int] = (0, 0)

    def joints(self) -> list[tuple[TrackEnd, TrackEnd]]:
        """The two ends that meet at each joint, in order."""
        ends: list[TrackEnd] = [self.first]
        for leg in self.pieces:
            ends += [leg, across(leg)]
        ends.append(self.last)
        return list(zip(ends[::2], ends[1::2], strict=True))


@dataclass(slots=True)
class Network:
    nodes: list[Node]
    lines: list[Line]
    chains: list[Chain]
    above: tuple[Above, ...] = ()


def across(leg: Leg) -> Leg:
    """The other end of a plain piece."""
    return Leg(leg.element, "left" if leg.leg == "right" else "right")
