"""What people may do on the simulated railway, and what may fail there, each as a type of its own.

`text` is what it is, in words for a button; of what is done with a train, for a button beside that
train.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Comes:
    """A train comes to an edge."""

    edge: str

    @property
    def text(self) -> str:
        return f"A train comes to {self.edge}"


@dataclass(frozen=True, slots=True)
class IsPut:
    """A train is put on the track before a signal."""

    signal: str

    @property
    def text(self) -> str:
        return f"Put a train before {self.signal}"


@dataclass(frozen=True, slots=True)
class TurnsBack:
    """A train, by its number, has its front where its tail was."""

    train: int

    @property
    def text(self) -> str:
        return "Turn back"


@dataclass(frozen=True, slots=True)
class IsTaken:
    """A train, by its number, is taken off the track."""

    train: int

    @property
    def text(self) -> str:
        return "Take off the track"


@dataclass(frozen=True, slots=True)
class IsDivided:
    """The vehicles at the rear of a train, by its number, are uncoupled; they stay where they
    are, without a driver."""

    train: int

    @property
    def text(self) -> str:
        return "Divide: the part behind stays"


@dataclass(frozen=True, slots=True)
class IsLeft:
    """The driver of a train, by its number, goes away: it is vehicles that stand."""

    train: int

    @property
    def text(self) -> str:
        return "Leave standing, without a driver"


@dataclass(frozen=True, slots=True)
class IsPickedUp:
    """A driver takes over a train that stands without one, to leave past a signal."""

    train: int
    signal: str

    @property
    def text(self) -> str:
        return f"A driver comes, to leave past {self.signal}"


@dataclass(frozen=True, slots=True)
class IsCoupled:
    """A train takes along another that touches it and has no driver."""

    train: int
    other: int

    @property
    def text(self) -> str:
        return f"Couple to train {self.other}"


Act = Comes | IsPut | TurnsBack | IsTaken | IsDivided | IsLeft | IsPickedUp | IsCoupled
"""What people do with trains."""


@dataclass(frozen=True, slots=True)
class Sticks:
    """The detector of a section says the same for ever."""

    section: str
    says: Literal["occupied", "clear"]

    @property
    def text(self) -> str:
        return f"The detector of {self.section} says {self.says} for ever"


@dataclass(frozen=True, slots=True)
class DetectorMended:
    """The detector of a section says again what is so."""

    section: str

    @property
    def text(self) -> str:
        return f"Mend the detector of {self.section}"


@dataclass(frozen=True, slots=True)
class Dies:
    """A drive moves no more."""

    drive: str

    @property
    def text(self) -> str:
        return f"The drive of {self.drive} moves no more"


@dataclass(frozen=True, slots=True)
class DriveMended:
    """A drive moves again."""

    drive: str

    @property
    def text(self) -> str:
        return f"Mend the drive of {self.drive}"


@dataclass(frozen=True, slots=True)
class Disobeys:
    """A train, by its number, passes the signal at stop before which it stands."""

    train: int
    signal: str

    @property
    def text(self) -> str:
        return f"Pass {self.signal} at stop"


@dataclass(frozen=True, slots=True)
class Parts:
    """A train that runs, by its number, loses the vehicles at its rear."""

    train: int

    @property
    def text(self) -> str:
        return "Lose the last vehicles"


Fault = Sticks | DetectorMended | Dies | DriveMended | Disobeys | Parts
"""What is made to fail, or is mended."""
