"""The times that a layout states: for all, or at some signals, for some drives or sections."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

from bellcrank.diagnostics import Span
from bellcrank.layout.declared_names import Names, work_named
from bellcrank.layout.layout_model import Signal, Wiring
from bellcrank.layout.quantities import Unit, in_words, milliseconds
from bellcrank.layout.reporting import SECTION_OR_DRIVE, Railway
from bellcrank.layout.signals_meant import as_signal
from bellcrank.layout.times import APPROACH_LOCKING, DRIVE, OVERLAP, REPORT, Times, Timing
from bellcrank.layout.track import SIGNAL
from bellcrank.layout.wiring import find_drive
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import Program


@dataclass(frozen=True, slots=True)
class _Reason:
    """What is possible and what is usual for a time, in milliseconds, both ends included.

    meant: the unit that is meant where it is forgotten; None if the figure tells.
    """

    possible: tuple[int, int]
    usual: tuple[int, int]
    meant: Unit | None


REASON: Mapping[t.TimeOf, _Reason] = {
    "approach locking": _Reason((500, 600_000), (5_000, 240_000), "s"),
    "overlap": _Reason((500, 600_000), (2_000, 120_000), "s"),
    "drive": _Reason((10, 60_000), (200, 20_000), None),
    "report": _Reason((1, 10_000), (20, 2_000), None),
}
"""Common practice on models, and bounds beyond which nobody can mean it."""

_Table = Literal["approach locking", "overlap", "drive", "section report", "drive report"]

_TABLES: Mapping[t.TimeOf, tuple[_Table, ...]] = {
    "approach locking": ("approach locking",),
    "overlap": ("overlap",),
    "drive": ("drive",),
    "report": ("section report", "drive report"),
}
"""Which tables a line without places fills."""


@dataclass(frozen=True, slots=True)
class _Stated:
    """A time in milliseconds, and where the layout says so."""

    ms: int
    span: Span


@dataclass(slots=True)
class _Said:
    """What is said so far of the times of one table."""

    everywhere: _Stated | None = None
    by: dict[str, _Stated] = field(default_factory=dict)

    def of(self, name: str) -> _Stated | None:
        return self.by.get(name, self.everywhere)

    def timing(self, otherwise: int, more: Mapping[str, int] = {}) -> Timing:
        """otherwise: where nothing is said. more: the same for some names."""
        by = {name: stated.ms for name, stated in self.by.items()}
        if self.everywhere is not None:
            return Timing(self.everywhere.ms, by, stated=True)
        return Timing(otherwise, {**more, **by})


@dataclass(frozen=True, slots=True)
class _Place:
    """One entry of a table that a name of a line asks for. used: whether anybody waits for it."""

    table: _Table
    name: str
    used: bool


@dataclass(frozen=True, slots=True)
class _Layout:
    """What times are stated of.

    overlaps: the signals that have an overlap.
    """

    railway: Railway
    signals: Mapping[str, Signal]
    overlaps: frozenset[str]
    names: Names


def build_times(
    program: Program,
    railway: Railway,
    signals: Mapping[str, Signal],
    wirings: Mapping[str, Wiring],
    names: Names,
) -> Times:
    """The times of a layout: those that it states, and those that are taken where it does not."""
    overlaps = frozenset(line.signal.text for line in program.of(t.OverlapLine))
    layout = _Layout(railway, signals, overlaps, names)
    said: dict[_Table, _Said] = {table: _Said() for some in _TABLES.values() for table in some}
    for line in program.of(t.TimeLine):
        ms = _time(line, names)
        named = [(place, list(_places(line, place, layout))) for place in line.places]
        if ms is None:
            continue
        if not line.places:
            _say_everywhere(line, ms, said, names)
        for place, entries in named:
            _say(line, place, ms, entries, said, names)
    travels = {
        name: max(wiring.milliseconds or 0, wiring.settles or 0)
        for name, wiring in wirings.items()
        if name in railway.drives and railway.drives[name].detected
    }
    _warn_of_travels(said["drive"], travels, names)
    # A drive that is said to take long is not late when it does.
    slow = {name: 2 * travel for name, travel in travels.items() if 2 * travel > DRIVE}
    return Times(
        said["approach locking"].timing(APPROACH_LOCKING),
        said["overlap"].timing(OVERLAP),
        said["drive"].timing(DRIVE, slow),
        said["section report"].timing(REPORT),
        said["drive report"].timing(REPORT),
    )


def _time(line: t.TimeLine, names: Names) -> int | None:
    reason = REASON[line.of]
    low, high = reason.possible
    ms = milliseconds(
        line.duration,
        names.found,
        what=f"a time of {line.of}",
        low=low,
        high=high,
        meant=reason.meant,
    )
    if ms is not None and not reason.usual[0] <= ms <= reason.usual[1]:
        least, most = map(in_words, reason.usual)
        names.found.report(
            "W843",
            f"{in_words(ms)} is {'short' if ms < reason.usual[0] else 'long'} for a time of "
            f"{line.of}",
            line.duration.span,
            expected=f"from {least} to {most} is common practice",
        )
    return ms


def _places(line: t.TimeLine, place: t.DriveName, layout: _Layout) -> Iterator[_Place]:
    """The entries that a name of a line asks for; none if it is not of the right sort, which
    is reported. The name of points may be that of their section, too: then it means both."""
    railway, names = layout.railway, layout.names
    name = place.element.text
    match line.of:
        case "approach locking" | "overlap":
            if name in layout.signals:
                used = line.of != "overlap" or name in layout.overlaps
                yield _Place(_TABLES[line.of][0], name, used)
            else:
                hint = as_signal(name, railway.elements, railway.joined)
                names.unknown(place.element, SIGNAL, layout.signals, hint)
        case "drive":
            drive = find_drive(place, railway.drives, railway.drive_of, names)
            if drive is not None:
                yield _Place("drive", drive.name, drive.detected)
        case "report":
            yield from _reported(place, railway, names)


def _reported(place: t.DriveName, railway: Railway, names: Names) -> Iterator[_Place]:
    section = railway.sections.get(place.element.text) if place.drive is None else None
    if section is not None:
        yield _Place("section report", section.name, section.detected)
    if work_named(place) in railway.drive_of or place.drive is not None:
        drive = find_drive(place, railway.drives, railway.drive_of, names)
        if drive is not None:
            yield _Place("drive report", drive.name, drive.detected)
    elif section is None:
        names.unknown(place.element, SECTION_OR_DRIVE, railway.reportable)


def _say_everywhere(line: t.TimeLine, ms: int, said: Mapping[_Table, _Said], names: Names) -> None:
    for table in _TABLES[line.of]:
        first = said[table].everywhere
        if first is not None:
            _report_twice(line, "", line.span, first.span, names)
            return
        said[table].everywhere = _Stated(ms, line.span)


def _say(
    line: t.TimeLine,
    place: t.DriveName,
    ms: int,
    entries: list[_Place],
    said: Mapping[_Table, _Said],
    names: Names,
) -> None:
    for entry in entries:
        by = said[entry.table].by
        if entry.name in by:
            _report_twice(line, str(place), place.span, by[entry.name].span, names)
            return
        by[entry.name] = _Stated(ms, place.span)
    if entries and not any(entry.used for entry in entries):
        why = {
            "overlap": f"no overlap lies beyond {place}",
            "drive": f"{place} does not report where it lies",
        }.get(line.of, f"{place} does not report")
        names.found.report(
            "W844",
            f"this time is never waited for: {why}",
            place.span,
            hint=f"leave {place} out of the line",
        )


def _report_twice(line: t.TimeLine, place: str, span: Span, first: Span, names: Names) -> None:
    names.found.report(
        "E467",
        f"the time of {line.of} is stated twice" + (f" for {place}" if place else ""),
        span,
        expected=None if place else "one line for all, and others for those that differ",
        hint="keep one of the two",
        related=[(first, "stated here first")],
    )


def _warn_of_travels(said: _Said, travels: Mapping[str, int], names: Names) -> None:
    """Warn of drives that are late before they can have come to lie."""
    slow: dict[_Stated, list[str]] = {}
    for name, travel in travels.items():
        stated = said.of(name)
        if stated is not None and travel >= stated.ms:
            slow.setdefault(stated, []).append(name)
    for stated, some in slow.items():
        longest = max(travels[name] for name in some)
        names.found.report(
            "W846",
            f"{', '.join(some)} cannot have reported after {in_words(stated.ms)}: thrown, "
            f"{'it lies' if len(some) == 1 else 'the slowest lies'} after {in_words(longest)}",
            stated.span,
            hint=f"state a time of {in_words(2 * longest)} for {', '.join(some)}",
        )
