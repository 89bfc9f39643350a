"""Where trains lie, element by element, for whoever looks at the railway from outside."""

from __future__ import annotations

from dataclasses import dataclass

from bellcrank.simulated.train import Train


@dataclass(frozen=True, slots=True)
class Piece:
    """Track under a train on one element.

    begin, end: metres from the leg by which it came in; of: metres of the whole way.
    """

    element: str
    entry: str
    exit: str
    begin: float
    end: float
    of: float


@dataclass(frozen=True, slots=True)
class Lying:
    """pieces: from its tail to its front. tail_outside, front_outside: that end of it is beyond an
    edge. accident: it has had one."""

    pieces: tuple[Piece, ...]
    tail_outside: bool
    front_outside: bool
    accident: bool


def lying(train: Train) -> Lying:
    """How a train lies where its motion says that it is."""
    pieces, begin = [], 0.0
    for way, length in zip(train.ways, train.lengths, strict=True):
        from_ = max(0.0, train.tail - begin)
        to = min(length, train.motion.x - begin)
        pieces.append(Piece(way.element, way.entry, way.exit, from_, to, length))
        begin += length
    return Lying(tuple(pieces), bool(train.coming_from), train.leaving, train.broken)
