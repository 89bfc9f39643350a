"""Routes and the reasons why two of them conflict, as immutable values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from bellcrank.diagnostics import Span
from bellcrank.layout.layout_model import Position, Way
from bellcrank.routes.panel_model import Panel

EndKind = Literal["signal", "edge", "stop"]


@dataclass(frozen=True, slots=True)
class Overlap:
    """Track beyond a signal that must stay clear while a route leads up to it.

    positions: where its drives must lie; none for points that it ends facing.
    """

    signal: str
    elements: tuple[str, ...]
    sections: tuple[str, ...]
    positions: tuple[Position, ...]
    span: Span = field(compare=False)


@dataclass(frozen=True, slots=True)
class Route:
    """A way from a signal to the next in the same direction, to an edge or a stop.

    end: the signal, the edge, or the last piece before the stop.
    ways: through each element, in the order in which a train takes them.
    sections: in the same order; the last is the berth.
    positions, flank: the drives and where they must lie.
    approach: the element in which a train waits at the start, None at an edge.
    """

    name: str
    start: str
    end: str
    end_kind: EndKind
    ways: tuple[Way, ...]
    sections: tuple[str, ...]
    positions: tuple[Position, ...]
    overlap: Overlap | None
    flank: tuple[Position, ...]
    calling_on: bool
    aspect: str
    approach: str | None
    span: Span = field(compare=False)

    @property
    def elements(self) -> tuple[str, ...]:
        return tuple(way.element for way in self.ways)

    @property
    def berth(self) -> str:
        """The section in which the route ends."""
        return self.sections[-1]

    @property
    def overlap_sections(self) -> tuple[str, ...]:
        return self.overlap.sections if self.overlap else ()

    @property
    def overlap_positions(self) -> tuple[Position, ...]:
        return self.overlap.positions if self.overlap else ()

    def overlap_entered_by(self, other: Route) -> tuple[str, ...]:
        """The sections of the overlap that another route leads into.

        None for a route from the very signal that the overlap lies beyond: it
        is the way on for the same train, and the overlap gives way to it.
        """
        if self.overlap is None or other.start == self.overlap.signal:
            return ()
        return tuple(s for s in self.overlap.sections if s in other.sections)

    @property
    def demands(self) -> dict[str, str]:
        """Every drive the route needs and where: on its way, overlap and flank."""
        return dict(self.flank) | dict(self.overlap_positions) | dict(self.positions)

    @property
    def sections_clear(self) -> tuple[str, ...]:
        """The sections that must be clear: all except the berth when calling on."""
        own = self.sections[:-1] if self.calling_on else self.sections
        return own + self.overlap_sections


ReasonKind = Literal[
    "crossing", "fouling", "head-on", "opposed drive", "shared section", "overlap", "flank"
]

REASON_KINDS: tuple[ReasonKind, ...] = (
    "crossing",
    "fouling",
    "head-on",
    "opposed drive",
    "shared section",
    "overlap",
    "flank",
)
"""In the order in which a person would name them."""


@dataclass(frozen=True, slots=True)
class Reason:
    """Why two routes conflict, and where.

    where: elements or sections, by the kind of reason; empty for drives.
    demands: for opposed drives: drive, first route's position, second's.
    """

    kind: ReasonKind
    where: tuple[str, ...]
    demands: tuple[tuple[str, str, str], ...] = ()


Pair = tuple[str, str]
"""The names of two routes, in the order of the route table."""


@dataclass(frozen=True, slots=True)
class RouteTable:
    """All routes by name, and each conflicting pair with its reasons.

    conflicting: for each route those that conflict with it, in table order.
    panel: the buttons that ask for routes and the lamps that show them.
    """

    routes: Mapping[str, Route]
    conflicts: Mapping[Pair, tuple[Reason, ...]]
    conflicting: Mapping[str, tuple[str, ...]]
    panel: Panel = field(default_factory=Panel)

    def reasons(self, first: str, second: str) -> tuple[Reason, ...]:
        """Why two routes conflict; empty if they may run together.

        The reasons are given from the side of the route that stands first in
        the table, whichever is asked for first.
        """
        return self.conflicts.get((first, second)) or self.conflicts.get((second, first)) or ()
