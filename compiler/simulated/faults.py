"""Faults on demand: what is assumed of detectors, drives and drivers is broken."""

from __future__ import annotations

from collections.abc import Iterator

from bellcrank.simulated.acts import (
    DetectorMended,
    Dies,
    Disobeys,
    DriveMended,
    Fault,
    Sticks,
)
from bellcrank.simulated.detectors import Detectors
from bellcrank.simulated.drives import Drives
from bellcrank.simulated.driving import Driving


class Faults:
    """What can be made to fail, and be mended."""

    def __init__(self, driving: Driving, detectors: Detectors, drives: Drives) -> None:
        self._driving = driving
        self._detectors = detectors
        self._drives = drives

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
