"""What a log says was thrown before, and the rest that drives and supplies still need of it.

Two timetables that are each within the limits may break them one soon after the other: a
coil is pulsed again before it has cooled. Times in a log are those of the clock on the
wall. What it says of the future, as when that clock was put back, counts as thrown just
now, for a rest too long does no harm.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.commands import throw_command
from bellcrank.timing.limits import limits_of
from bellcrank.timing.pace import Sent, breaches, earliest_after
from bellcrank.timing.timetable_model import Timed, Timetable

_ROW = re.compile(r"(\d{4}-\d\d-\d\d \d\d:\d\d:\d\d\.\d{3})  (.*)")
_SENT = re.compile(r"sent: drive (\S+) (\S+)(?: .*)?")
_DOUBTFUL = re.compile(r"may have arrived or not: (\d+)")
_LISTED = re.compile(r"  drive (\S+) (\S+)(?: .*)?")


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


def thrown_before(log: Iterable[str], now: datetime) -> tuple[Thrown, ...]:
    """The throws of a log, in its order.

    log: its lines. now: a time that knows its zone.
    """
    found = []
    doubtful = 0
    for line in log:
        row = _ROW.fullmatch(line.rstrip("\r\n"))
        if row is None:
            continue
        listed = _LISTED.fullmatch(row[2]) if doubtful else None
        doubtful = max(0, doubtful - 1)
        if heading := _DOUBTFUL.fullmatch(row[2]):
            doubtful = int(heading[1])
        elif throw := (_SENT.fullmatch(row[2]) or listed):
            found.append(Thrown(throw[1], throw[2], _ago(row[1], now)))
    return tuple(found)


def _ago(written: str, now: datetime) -> int:
    """An hour that the clock goes through twice is taken for the later one, unless that is
    still to come."""
    try:
        at = datetime.fromisoformat(written)
    except ValueError:
        return 0  # no time at all, so perhaps just now
    ages = [(now - at.replace(fold=fold).astimezone()).total_seconds() for fold in (0, 1)]
    return int(min((age for age in ages if age >= 0), default=0) * 1000)


def rest_due(layout: Layout, thrown: Sequence[Thrown], timetable: Timetable) -> Rest | None:
    """The rest that must still be kept before a timetable may be started; None if none.

    Raises PaceError if the timetable alone breaks a limit.
    """
    before = _recent(layout, thrown)
    wait = earliest_after(layout, before, timetable)
    if not wait:
        return None
    now = Counter(breaches(layout, [*before, (0, timetable)]))
    first, *_ = now - Counter(breaches(layout, before))
    return Rest(wait, first.sentence)


def _recent(layout: Layout, thrown: Sequence[Thrown]) -> list[Sent]:
    """Throws that may still matter, each as a timetable of its own."""
    limits = limits_of(layout)
    longest = max([0, *limits.rests.values(), *(limit.rest for limit in limits.of.values())])
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
