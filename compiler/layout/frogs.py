"""What each frog needs for each way over it, and whether a drive's position decides that.

Which rails are of one polarity is found as in two-colouring a graph (union-find with parity):
the right-hand rail of a leg, looking outwards, is the left-hand rail of the leg at the other
end of a way, and of the leg that is joined to it. That does not depend on whether
a fitting is built left-handed or right-handed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from bellcrank.layout.frog_model import FrogPart, KindFrog
from bellcrank.layout.layout_model import Element, FittingKind, KindWay, Leg, Position, TrackEnd


@dataclass(frozen=True, slots=True)
class FrogNeed:
    """A way over a frog, and the leg from whose rail it takes its polarity then."""

    way: KindWay
    leg: str


@dataclass(frozen=True, slots=True)
class FrogCase:
    """When a frog takes its polarity from which leg: as drives of the fitting lie, or, with a
    way, only while that is the one used."""

    when: tuple[Position, ...]
    way: tuple[str, str] | None
    leg: str


def needs_of(kind: FittingKind, frog: KindFrog) -> tuple[FrogNeed, ...]:
    """The ways that pass a frog, with the leg that it must take its polarity from."""
    return tuple(
        FrogNeed(way, leg) for way in kind.ways if (leg := frog.leg_of(way.legs)) is not None
    )


def deciding_drive(kind: FittingKind, frog: KindFrog) -> tuple[str, Mapping[str, str]] | None:
    """The drive whose position alone tells what a frog needs, and the leg for each position.

    In a position in which no way passes the frog it may have any polarity; that has no
    leg. None if there is no such drive: then the route decides, or several drives together.
    """
    needs = needs_of(kind, frog)
    for drive, positions in kind.drives.items():
        legs = {
            position: {
                need.leg for need in needs if dict(need.way.when).get(drive, position) == position
            }
            for position in positions
        }
        if all(len(some) <= 1 for some in legs.values()) and len(set().union(*legs.values())) > 1:
            return drive, {position: leg for position, some in legs.items() for leg in some}
    return None


def cases_of(kind: FittingKind, frog: KindFrog) -> tuple[FrogCase, ...]:
    """The table of a frog: one row for each position of the drive that decides, else for each
    way over it."""
    decides = deciding_drive(kind, frog)
    if decides is not None:
        drive, legs = decides
        return tuple(FrogCase(((drive, position),), None, leg) for position, leg in legs.items())
    return tuple(FrogCase(n.way.when, n.way.legs, n.leg) for n in needs_of(kind, frog))


# ------------------------------------------------------------------- polarities


def alike(
    elements: Iterable[Element], joined: Mapping[Leg, TrackEnd], reversers: frozenset[str]
) -> frozenset[FrogPart]:
    """The frogs at which the rails that cross are of one polarity, so that nothing need be
    switched: the obtuse crossings of a diamond, mostly, or the acute ones where a line comes back
    through the diamond against its own direction.

    Both rails are cut where a stretch ends that is fed through a reverser. Roads that no track
    joins may be fed either way round; they are taken to be fed so that the rails at the first
    frog that is stated between them differ, as in a slip (common practice).
    """
    sides = _Sides()
    elements = tuple(elements)
    kinds = {element.kind.name: element.kind for element in elements}
    if not any(_open(kind) for kind in kinds.values()):
        return frozenset()  # as no fitting states frogs of which its own ways tell that
    for element in elements:
        for way in element.kind.ways:
            one, other = (Leg(element.name, leg) for leg in way.legs)
            sides.enter(one, other, opposite=True)
    for leg, end in joined.items():
        if isinstance(end, Leg) and (leg.element in reversers) == (end.element in reversers):
            sides.enter(leg, end, opposite=True)
    found = set()
    for element in elements:
        for frog in element.kind.frogs:
            one, other = (Leg(element.name, leg) for leg in frog.between)
            # The rails that face each other are the right-hand one of one leg and the
            # left-hand one of the other.
            sides.enter(one, other, opposite=False)
            if sides.opposite(one, other):
                found.add(FrogPart(element.name, frog.name))
    return frozenset(found)


def _open(kind: FittingKind) -> bool:
    """Whether a fitting has a frog between roads that it does not join itself."""
    sides = _Sides()
    for way in kind.ways:
        one, other = (Leg("", leg) for leg in way.legs)
        sides.enter(one, other, opposite=True)
    return any(not sides.joined(*(Leg("", leg) for leg in frog.between)) for frog in kind.frogs)


def alike_in(ways: Iterable[KindWay], frog: KindFrog) -> bool:
    """Whether the ways of a fitting alone make the rails that cross at a frog alike."""
    sides = _Sides()
    for way in ways:
        one, other = (Leg("", leg) for leg in way.legs)
        sides.enter(one, other, opposite=True)
    one, other = (Leg("", leg) for leg in frog.between)
    sides.enter(one, other, opposite=False)
    return sides.opposite(one, other)


@dataclass(slots=True)
class _Sides:
    """Union-find with parity over legs: whether their right-hand rails, looking outwards, are of
    one polarity or of opposite ones."""

    parent: dict[Leg, Leg] = field(default_factory=dict)
    flipped: dict[Leg, bool] = field(default_factory=dict)

    def _root(self, leg: Leg) -> tuple[Leg, bool]:
        """The leg that another is reckoned from, and whether it is opposite to that."""
        path = []
        while leg in self.parent:
            path.append(leg)
            leg = self.parent[leg]
        flip = False
        for one in reversed(path):
            flip ^= self.flipped[one]
            self.parent[one], self.flipped[one] = leg, flip
        return leg, flip

    def enter(self, one: Leg, other: Leg, *, opposite: bool) -> None:
        """Enter how two legs hang together. What contradicts earlier ones, as in a turning loop
        without a reverser, is a short circuit, of which there is a warning; it is left out."""
        (first, flip), (second, other_flip) = self._root(one), self._root(other)
        if first != second:
            self.parent[first] = second
            self.flipped[first] = flip ^ other_flip ^ opposite

    def joined(self, one: Leg, other: Leg) -> bool:
        """Whether two legs hang together."""
        return self._root(one)[0] == self._root(other)[0]

    def opposite(self, one: Leg, other: Leg) -> bool:
        """Whether two legs that hang together are opposite."""
        return self._root(one)[1] ^ self._root(other)[1]
