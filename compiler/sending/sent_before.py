"""What a log says was thrown before, and the rest that drives and supplies still need of it.

Two timetables that are each within the limits may break them one soon after the other: a
coil is pulsed again before it has cooled. Times in a log are those of the clock on the
wall. What it says of the future, as when that clock was put back, counts as thrown just
now, for a rest too long does no harm.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.commands import throw_command
from bellcrank.sending.log_rows import Commanded, Entry
from bellcrank.timing.limits import limits_of
from bellcrank.timing.pace import Sent, breaches, earliest_after
from bellcrank.timing.timetable_model import Timed, Timetable


@dataclass(frozen=True, slots=True)
class Thrown:
    """A throw that was sent, or may have been. ago: milliseconds before now."""

    drive: str
    position: str
    ago: int


@dataclass(frozen=True, slots=True)
class Rest:
    """How many milliseconds something must still be left alone, and why, as a sentence
    without its full stop."""

    milliseconds: int
    sentence: str


def thrown_before(entries: Iterable[Entry], now: datetime) -> tuple[Thrown, ...]:
    """The throws of a log, in its order.

    now: a time that knows its zone.
    """
    found = []
    for entry in entries:
        match entry.row:
            case Commanded("sent" | "in doubt", "drive", name, state):
                ago = (now - entry.time).total_seconds()
                found.append(Thrown(name, state, int(max(0.0, ago) * 1000)))
    return tuple(found)


def rest_due(layout: Layout, thrown: Sequence[Thrown], timetable: Timetable) -> Rest | None:
    """The rest that must still be kept before a timetable may be started; None if none.

    Raises PaceError if the timetable alone breaks a limit.
    """
    before = recent_throws(layout, thrown)
    wait = earliest_after(layout, before, timetable)
    if not wait:
        return None
    now = Counter(breaches(layout, [*before, (0, timetable)]))
    first, *_ = now - Counter(breaches(layout, before))
    return Rest(wait, first.sentence)


def recent_throws(layout: Layout, thrown: Sequence[Thrown]) -> list[Sent]:
    """Throws that may still matter, each as a timetable of its own, in milliseconds from
    now."""
    limits = limits_of(layout)
    longest = max([0, *limits.rests.values(), *(limit.rest for limit in limits.by_supply.values())])
    found = []
    for throw in thrown:
        drive, wiring = layout.drives.get(throw.drive), layout.hardware.wirings.get(throw.drive)
        # The layout may have been changed since; by hand nothing is sent.
        if drive is None or wiring is None or not wiring.outputs:
            continue
        known = throw.position in drive.positions
        position = throw.position if known else drive.positions[0]
        command = throw_command(layout, throw.drive, position)
        until = command.milliseconds or 0
        if throw.ago <= until + longest:
            timed = Timed(0, until, command)
            found.append((-throw.ago, Timetable("set", "", (timed,), until, until)))
    return found
