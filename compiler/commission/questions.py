"""The questions of a commissioning and what may be answered."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, NamedTuple

from bellcrank.commission.checks import (
    Check,
    CutCheck,
    DriveCheck,
    RouteCheck,
    SectionCheck,
    StateCheck,
)
from bellcrank.layout.detectors import Input

Kind = Literal["lies", "nothing", "reported", "yes", "no", "skip", "skip all"]
"""`lies`: the drive lies in a position now, or what was switched is in a state. `nothing`: nothing
moved, or nothing lights. `reported`: these inputs, or none. `skip` passes over one check or
question, `skip all` over all that is left of a route."""


class Answer(NamedTuple):
    """kind: of answer; position: where it lies; inputs: that reported something, in any order."""

    kind: Kind
    position: str = ""
    inputs: frozenset[Input] = frozenset()


YES, NO, NOTHING, SKIP, SKIP_ALL = (
    Answer("yes"),
    Answer("no"),
    Answer("nothing"),
    Answer("skip"),
    Answer("skip all"),
)


def reported(*inputs: Input) -> Answer:
    """The answer that these inputs, or none, reported something."""
    return Answer("reported", inputs=frozenset(inputs))


class _Listed:
    """A question whose answers are a few that can be listed."""

    __slots__ = ()

    @property
    def answers(self) -> tuple[Answer, ...]:
        return (YES, NO, SKIP)

    def takes(self, answer: Answer) -> bool:
        return answer in self.answers


@dataclass(frozen=True, slots=True)
class Throw(_Listed):
    """Throw a drive to a position; where does it lie now? number: of the throw, from 1."""

    check: DriveCheck
    position: str
    number: int

    @property
    def answers(self) -> tuple[Answer, ...]:
        return (*(Answer("lies", p) for p in self.check.positions), NOTHING, SKIP)


@dataclass(frozen=True, slots=True)
class Show(_Listed):
    """Have a signal show an aspect, or switch an output; what does it show now?"""

    check: StateCheck
    state: str
    number: int

    @property
    def answers(self) -> tuple[Answer, ...]:
        return (*(Answer("lies", state) for state in self.check.states), NOTHING, SKIP)


@dataclass(frozen=True, slots=True)
class Empty:
    """With no vehicle on any of the track; what is reported?"""

    def takes(self, answer: Answer) -> bool:
        return answer.kind in ("reported", "skip")


@dataclass(frozen=True, slots=True)
class Push:
    """Push a vehicle through a section, nothing else on the track; what is reported?"""

    check: SectionCheck

    def takes(self, answer: Answer) -> bool:
        return answer.kind in ("reported", "skip")


@dataclass(frozen=True, slots=True)
class Parted(_Listed):
    """Does a lamp stay dark between each rail on one side of a joint and each on the other?"""

    check: CutCheck


@dataclass(frozen=True, slots=True)
class Stands(_Listed):
    """Set a route; do its drives lie right, and does its signal show what it must?"""

    check: RouteCheck


@dataclass(frozen=True, slots=True)
class Refuses(_Listed):
    """With a route set, ask for another; is it refused?"""

    check: RouteCheck
    other: str

    @property
    def answers(self) -> tuple[Answer, ...]:
        return (YES, NO, SKIP, SKIP_ALL)


Question = Throw | Show | Empty | Push | Parted | Stands | Refuses


class Answered(NamedTuple):
    question: Question
    answer: Answer


def questions_of(check: Check) -> Iterator[Question]:
    """The questions of one check, in order.

    A drive is thrown to each position and then to the first again: where it lay before
    nobody knows, and a throw to where it lies already shows nothing. A signal is so left at stop.
    """
    match check:
        case DriveCheck(positions=positions):
            for number, position in enumerate((*positions, positions[0]), start=1):
                yield Throw(check, position, number)
        case StateCheck(states=states):
            for number, state in enumerate((*states, states[0]), start=1):
                yield Show(check, state, number)
        case SectionCheck():
            yield Push(check)
        case CutCheck():
            yield Parted(check)
        case RouteCheck(refuses=refuses):
            yield Stands(check)
            for other in refuses:
                yield Refuses(check, other)
