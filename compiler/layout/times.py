"""How long things take that a controller waits for, in milliseconds.

What the layout does not say is taken as below, which is common practice on models. The
defaults are on the long side: a longer time of approach locking, of an overlap or for a
drive or report makes trains wait, and makes nothing unsafe.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

APPROACH_LOCKING = 30_000
"""From a signal's going to stop until a train that was near has stopped or passed."""

OVERLAP = 10_000
"""From the train's coming to the end of its route until it stands there."""

DRIVE = 5_000
"""From a drive's command until it must have reported."""

REPORT = 500
"""How late a report of a section or drive may be."""


@dataclass(frozen=True, slots=True)
class Timing:
    """A time everywhere, and where it is another.

    everywhere: milliseconds where `by` does not say otherwise.
    by: milliseconds by the name of a signal, drive or section.
    stated: whether the layout says what it is everywhere.
    """

    everywhere: int
    by: Mapping[str, int] = field(default_factory=dict)
    stated: bool = False

    def of(self, name: str) -> int:
        """Milliseconds for one signal, drive or section."""
        return self.by.get(name, self.everywhere)


@dataclass(frozen=True, slots=True)
class Times:
    """The times of a layout.

    approach_locking: by the signal at which routes begin.
    overlap: by the signal at which routes end.
    drive: by drive; until it must have reported, from its command.
    section_report, drive_report: how late a report may be, by section and by drive.
    """

    approach_locking: Timing = Timing(APPROACH_LOCKING)
    overlap: Timing = Timing(OVERLAP)
    drive: Timing = Timing(DRIVE)
    section_report: Timing = Timing(REPORT)
    drive_report: Timing = Timing(REPORT)
