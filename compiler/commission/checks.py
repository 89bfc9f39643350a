"""What can be asked of a layout at the bench, one kind of check for each kind of thing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from bellcrank.layout.detectors import Input
from bellcrank.layout.layout_model import Leg, Position


@dataclass(frozen=True, slots=True)
class FrogCheck:
    """What is to be done to try a frog: the drive that is thrown and where to, for each of its
    two legs. own: whether that is an output of its own, not a drive with a contact."""

    throws: tuple[Position, Position]
    own: bool


@dataclass(frozen=True, slots=True)
class DriveCheck:
    """A wired drive, or a frog. works: all drives of fittings that it throws; crossed: what the
    layout says of its wiring."""

    name: str
    works: tuple[str, ...]
    positions: tuple[str, ...]
    crossed: bool
    frog: FrogCheck | None = None

    def to_throw(self, position: str) -> Position:
        """The drive that is thrown to try a position, and where to."""
        if self.frog is None:
            return self.name, position
        return self.frog.throws[self.positions.index(position)]


@dataclass(frozen=True, slots=True)
class StateCheck:
    """A wired signal and its aspects, stop first; or an output for something else."""

    device: Literal["signal", "output"]
    name: str
    states: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Joint:
    """A joint at which one rail is to be cut between a section and the next, from this side."""

    here: Leg
    there: Leg
    beyond: str


@dataclass(frozen=True, slots=True)
class SectionCheck:
    """A section whose detector tells of it, or one that lies beside such a one.

    elements: what a vehicle is pushed through.
    detected: whether something is to be reported meanwhile; input: on which, if that is known.
    joints: where it is parted from the next sections.
    """

    name: str
    elements: tuple[str, ...]
    detected: bool
    input: Input | None
    joints: tuple[Joint, ...]


@dataclass(frozen=True, slots=True)
class CutCheck:
    """A joint at which both rails are cut, as track behind a reverser begins there, or another
    district.

    reverser: the number of the reverser that feeds the inside. district: of the inside, where two
        meet.
    """

    inside: Leg
    outside: Leg
    reverser: int | None
    district: str | None = None

    @property
    def fed_by(self) -> str:
        """What feeds the inside, in words."""
        return f"reverser {self.reverser}" if self.reverser else f"the booster of {self.district}"


@dataclass(frozen=True, slots=True)
class RouteCheck:
    """A route, where its drives must lie, what its signal must show, and the routes that
    must be refused while it is set."""

    name: str
    positions: tuple[Position, ...]
    signal: str
    aspect: str
    refuses: tuple[str, ...]


Check = DriveCheck | StateCheck | SectionCheck | CutCheck | RouteCheck


@dataclass(frozen=True, slots=True)
class Checklist:
    """All checks, in order.

    taken: what each input that is stated reports, by the input, in words.
    free: inputs of detectors on which nothing is stated to be.
    """

    drives: tuple[DriveCheck, ...] = ()
    routes: tuple[RouteCheck, ...] = ()
    states: tuple[StateCheck, ...] = ()
    sections: tuple[SectionCheck, ...] = ()
    cuts: tuple[CutCheck, ...] = ()
    taken: Mapping[Input, str] = field(default_factory=dict)
    free: tuple[Input, ...] = ()

    def checks(self) -> tuple[Check, ...]:
        """All of it, in the order in which it is asked."""
        return (*self.drives, *self.states, *self.sections, *self.cuts, *self.routes)
