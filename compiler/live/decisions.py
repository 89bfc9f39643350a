"""What comes in, what is decided about it, and what is done, as immutable values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from bellcrank.controller.controller_model import InputKind

OwnKind = Literal[
    "nowhere", "start", "stop", "here", "lost", "not understood", "thrown by hand", "thrown"
]
"""What comes in beside the inputs of the controller. `nowhere`: a drive that reports
lies in none of its positions, or not in one that is said; `start`: a person says that no train is
moving; `stop`: a person stops all; `here`: a link is there; `lost`: it, or something behind it, is
not there any more; `not understood`: something was said of a section or drive that has no meaning;
`thrown by hand`: a person has thrown a drive that no output throws; `thrown`: a command to a
drive, which had to wait for its supply, is sent."""

HeardKind = InputKind | OwnKind


class Heard(NamedTuple):
    """Something that comes in.

    of: what it is of; of a link its name. value: as of an input. who: the person or the link.
    """

    kind: HeardKind
    of: str = ""
    value: str = ""
    who: str = ""


@dataclass(frozen=True, slots=True, order=True)
class Show:
    """A signal is to show an aspect."""

    signal: str
    aspect: str


@dataclass(frozen=True, slots=True, order=True)
class Throw:
    """A drive is to be thrown."""

    drive: str
    position: str


@dataclass(frozen=True, slots=True, order=True)
class EndPulse:
    """The pulse that threw a drive is over."""

    drive: str
    position: str


@dataclass(frozen=True, slots=True, order=True)
class Light:
    """The lamp of a route on the panel is to be lit, or to go out."""

    route: str
    lit: bool


Doing = Show | Throw | EndPulse | Light

Outcome = Literal["done", "refused", "alarm", "nothing new", "noted", "stopped", "started"]
"""Of what was heard. `noted`: it is known from now on, and nothing follows while the controller
does not run; `stopped`: a person has stopped all, or a link is lost."""


@dataclass(frozen=True, slots=True)
class Decision:
    """What was made of something heard.

    at: milliseconds by the clock of the railway.
    told: what was done, or why nothing was, in sentences without their full stops.
    doing: what is to be done, in this order.
    known: at a start, where all reports stood: sections reported occupied, and drives with their
        positions.
    """

    heard: Heard
    at: float
    outcome: Outcome
    told: tuple[str, ...] = ()
    doing: tuple[Doing, ...] = ()
    known: Known | None = None


class Known(NamedTuple):
    """What reports say before a start."""

    occupied: tuple[str, ...]
    lies: tuple[tuple[str, str], ...]


class Missing(NamedTuple):
    """What has not reported yet, in the order of the layout."""

    sections: tuple[str, ...]
    drives: tuple[str, ...]

    @property
    def any(self) -> bool:
        return bool(self.sections or self.drives)
