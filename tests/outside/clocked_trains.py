"""Trains and standing vehicles as rows of ways with a length, a place and a speed."""

from __future__ import annotations

from dataclasses import dataclass, field

from clocked_track import Way


@dataclass(eq=False)
class Train:
    """Vehicles on the track, moving or not.

    ways: those that it lies on, its tail first. front: how far its front is from the beginning
    of the first way, at the time `since`. entered: how many ways its front has come on to.
    driven: whether somebody drives it; else the vehicles stand. coming_from: the edge outside
    which its tail still is. leaving: its front has left by an edge.
    halt_at: where its front is to stop, from the beginning of the first way.
    waiting_at: the signal at stop before which it stands. ended: it has come to where it has to
    stop. runs: the routes that it is on its way along, or came by. forgotten: nobody knows of it.
    called_into: the berth that it was called on into, as long as its front goes on there.
    """

    number: int
    length: float
    speed: float
    ways: list[Way]
    lengths: list[float]
    front: float
    driven: bool = True
    moving: bool = False
    since: float = 0.0
    entered: int = 0
    version: int = 0
    coming_from: str = ""
    leaving: bool = False
    halt_at: float | None = None
    waiting_at: str = ""
    ended: bool = False
    stood_since: float = 0.0
    forgotten: bool = False
    called_into: str = ""
    runs: list[Run] = field(default_factory=list)

    @property
    def total(self) -> float:
        """The length of the ways that it lies on."""
        return sum(self.lengths)

    @property
    def tail(self) -> float:
        return self.front - self.length

    def catch_up(self, now: float) -> None:
        """Be where it is now."""
        if self.moving:
            self.front += self.speed * (now - self.since)
        self.since = now

    def turn(self) -> None:
        """Have the front where the tail was."""
        self.called_into = ""
        self.front = self.total - self.tail
        self.ways = [way.back() for way in reversed(self.ways)]
        self.lengths.reverse()


@dataclass(eq=False)
class Run:
    """A train on its way along a route.

    first: how many ways the train had come on to before the first of the route.
    arrived: since when it stands or has been whole where the route ends; None if it has not.
    behind_clear: since when all track is clear that the route still holds behind it.
    """

    route: str
    train: Train
    first: int
    calling_on: bool
    arrived: float | None = None
    behind_clear: float | None = None
    gone: bool = False
