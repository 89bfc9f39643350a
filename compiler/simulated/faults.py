"""Faults on demand: what is assumed of detectors, drives and drivers is broken."""

from __future__ import annotations

from collections.abc import Iterator

from bellcrank.simulated.acts import (
    DetectorMended,
    Dies,
    Disobeys,
    DriveMended,
    Fault,
    Parts,
    Sticks,
)
from bellcrank.simulated.detectors import Detectors
from bellcrank.simulated.drives import Drives
from bellcrank.simulated.driving import Driving
from bellcrank.simulated.news import News
from bellcrank.simulated.train import Train


class Faults:
    """What can be made to fail, and be mended."""

    def __init__(self, driving: Driving, detectors: Detectors, drives: Drives, news: News) -> None:
        self._driving = driving
        self._detectors = detectors
        self._drives = drives
        self._news = news

    def possible(self) -> Iterator[Fault]:
        """What can be made to fail now, or be mended."""
        for section in self._detectors.names():
            if self._detectors.is_stuck(section):
                yield DetectorMended(section)
            else:
                yield Sticks(section, "clear" if self._detectors.is_on(section) else "occupied")
        for drive in self._drives.names():
            yield DriveMended(drive) if self._drives.is_dead(drive) else Dies(drive)
        for train in self._driving.fleet:
            if train.waits_at and not train.outside and not train.broken:
                yield Disobeys(train.number, train.waits_at)
            if _may_part(train):
                yield Parts(train.number)

    def do(self, fault: Fault) -> None:
        """Bring about something that is possible now."""
        match fault:
            case Sticks(section, says):
                self._detectors.stick(section, says == "occupied")
            case DetectorMended(section):
                self._detectors.mend(section)
            case Dies(drive):
                self._drives.kill(drive)
            case DriveMended(drive):
                self._drives.mend(drive)
            case Disobeys(number, _):
                train = self._driving.fleet[number]
                train.disobeys, train.waits_at, train.ended = True, "", False
                self._driving.plan(train)
            case Parts(number):
                self._parts(self._driving.fleet[number])

    def _parts(self, train: Train) -> None:
        """What a train loses comes to stand by itself."""
        rest = self._driving.cut(train)
        rest.on_sight = True  # it runs behind its own train
        self._news.tell("fault", f"{train.name} loses vehicles: {rest.name}")
        self._driving.plan(train)
        self._driving.plan(rest)


def _may_part(train: Train) -> bool:
    """Whether a train can lose vehicles on its way."""
    there = not train.outside and not train.coming_from and not train.leaving
    return there and train.driven and not train.stands and not train.broken
