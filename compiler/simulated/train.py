"""A train on the simulated railway: where it is, and what it is about."""

from __future__ import annotations

from dataclasses import dataclass, field

from bellcrank.layout.layout_model import Way
from bellcrank.simulated.motion import Motion


def back(way: Way) -> Way:
    """The same way, the other way round."""
    return Way(way.element, way.exit, way.entry, way.when, way.frogs)


@dataclass(slots=True, eq=False)
class Train:
    """Vehicles that move as one.

    length: in metres. most: metres in a second that it does not go beyond.
    ways: those on which it lies, its tail first; lengths: theirs. The motion's x is where the
    front is, from the beginning of the first way.
    coming_from: the edge outside which its tail still is. outside: the edge outside which all of it
    waits. leaving: its front has left by an edge.
    waits_at: the signal at stop before which it stands. ended: it stands where it can go no
    further.
    called: it was called on by the last signal. on_sight: its driver looks out for other vehicles:
    it was called on, or has set off in its stretch and passed no signal since. committed: the
    signals that went to stop when it could not stop before them any more.
    accident: what happened to it, as a sentence; it moves no more.
    driven: without a driver it only stands.
    version: counts what it planned, so that what was planned before is known to be over.
    stood_since: seconds.
    """

    number: int
    length: float
    most: float
    ways: list[Way] = field(default_factory=list)
    lengths: list[float] = field(default_factory=list)
    motion: Motion = field(default_factory=Motion)
    coming_from: str = ""
    outside: str = ""
    leaving: bool = False
    waits_at: str = ""
    ended: bool = False
    called: bool = False
    on_sight: bool = False
    driven: bool = True
    accident: str = ""
    committed: set[str] = field(default_factory=set)
    disobeys: bool = False
    version: int = 0
    stood_since: float = 0.0
    last_signal: str = ""

    @property
    def name(self) -> str:
        return f"train {self.number}"

    @property
    def broken(self) -> bool:
        """Whether it has had an accident."""
        return bool(self.accident)

    @property
    def total(self) -> float:
        """Metres of the ways on which it lies."""
        return sum(self.lengths)

    @property
    def tail(self) -> float:
        """Where its tail is, from the beginning of the first way."""
        return self.motion.x - self.length

    @property
    def stands(self) -> bool:
        return self.motion.v == 0.0 and self.motion.a <= 0.0

    @property
    def can_be_handled(self) -> bool:
        """Whether all of it stands on the track, where it can go no further."""
        outside = self.outside or self.coming_from or self.leaving
        return self.stands and self.ended and not self.broken and not outside

    def turned(self) -> None:
        """Have its front where its tail was."""
        self.motion.x = self.total - self.tail
        self.ways = [back(way) for way in reversed(self.ways)]
        self.lengths.reverse()
