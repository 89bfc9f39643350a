"""How long the timers of a controller run."""

from __future__ import annotations

from bellcrank.controller.controller_model import Timer
from bellcrank.layout.layout_model import Layout


def milliseconds_of(timer: Timer, layout: Layout) -> int:
    """Milliseconds for which a timer runs.

    That of a drive is never shorter than what the drive is said to take until it lies: its pulse or
    travel, or the time in which it settles.
    """
    times = layout.times
    match timer.kind:
        case "approach locking":
            return times.approach_locking.of(timer.of)
        case "overlap":
            return times.overlap.of(timer.of)
        case "drive":
            wiring = layout.hardware.wirings.get(timer.of)
            stated = times.drive.of(timer.of)
            if wiring is None:
                return stated
            return max(stated, wiring.milliseconds or 0, wiring.settles or 0)
