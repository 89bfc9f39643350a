"""Frogs (crossing noses): where they lie in a fitting, and what feeds them, as values.

On two-rail track each leg has two rails of opposite polarity. A way joins each rail of one leg to
one of another, and where rails of two legs cross there is a frog. A train that uses one of the
two legs runs over it along that rail of the leg which faces the other leg, and the frog must
have the polarity of this rail.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from bellcrank.diagnostics import Span


@dataclass(frozen=True, slots=True)
class KindFrog:
    """A frog of a kind of fitting. name: empty if the fitting has no other.

    between: the two legs of which rails that face each other cross there.
    """

    name: str
    between: tuple[str, str]

    def leg_of(self, legs: tuple[str, str]) -> str | None:
        """Which of its legs the way between two legs uses; None if it does not pass the frog."""
        return next((leg for leg in self.between if leg in legs), None)


class FrogPart(NamedTuple):
    """A frog of a fitting; `frog` is the fitting's own name for it, empty if it has no other."""

    element: str
    frog: str

    def __str__(self) -> str:
        return f"{self.element}.{self.frog}" if self.frog else self.element

    @property
    def called(self) -> str:
        """Its name among those of drives, none of which has a blank in it."""
        return f"frog {self}"


FrogFeed = Literal["contact", "output", "reverser", "dead"]
"""What a frog takes its polarity from: a contact of a drive of its fitting; an output that routes
switch; a reverser that switches by itself when a wheel makes a short circuit; or nothing."""


@dataclass(frozen=True, slots=True)
class Frog:
    """A frog of the layout.

    feed: None if the layout does not say.
    drive: the drive whose contact serves it, or, of one on an output, what switches it; None if
        there is none.
    alike: whether the rails that meet there are of one polarity as the track is joined, so that
        nothing need be switched.
    span: of the words that say what feeds it, else of its fitting.
    """

    part: FrogPart
    kind: KindFrog
    feed: FrogFeed | None
    drive: str | None
    alike: bool
    span: Span = field(compare=False)
