"""Whether timetables sent one after another go easy on drives and supplies.

One timetable never breaks a limit. Two, the second sent soon after the first, may: a coil
is pulsed again before it has cooled, a supply is asked for more before it has recharged.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from bellcrank.layout.layout_model import Layout
from bellcrank.timing.limits import Limits, limits_of
from bellcrank.timing.timetable_model import Timetable

Sent = tuple[int, Timetable]
"""A timetable, and the millisecond at which it is started, on a clock common to all. One
that had to wait on its way is given with the times at which it really was sent."""


@dataclass(frozen=True, slots=True)
class Breach:
    """A limit that would be broken. at: the millisecond; name: of the drive or supply."""

    at: int
    name: str
    sentence: str


class PaceError(Exception):
    """A drive or a supply would be asked for more than it can stand. Reads as a sentence.

    breaches: all of them, in time.
    """

    def __init__(self, breaches: Sequence[Breach]) -> None:
        more = len(breaches) - 1
        super().__init__(breaches[0].sentence + (f" (and {more} more)" if more else ""))
        self.breaches = tuple(breaches)


@dataclass(frozen=True, slots=True)
class _Thrown:
    at: int
    until: int
    drive: str
    supply: str | None
    motors: int


def breaches(layout: Layout, sent: Iterable[Sent]) -> tuple[Breach, ...]:
    """Every limit that timetables would break, in time."""
    return _breaches(limits_of(layout), list(sent))


def check_pace(layout: Layout, sent: Iterable[Sent]) -> None:
    """Raise PaceError if timetables, started at these times, would break a limit."""
    found = breaches(layout, sent)
    if found:
        raise PaceError(found)


def earliest_start(
    layout: Layout, sent: Iterable[Sent], timetable: Timetable, not_before: int = 0
) -> int:
    """The first millisecond at which a timetable may be started after those sent before.

    Raises PaceError if those before, or this one alone, break a limit themselves.
    """
    limits = limits_of(layout)
    before = list(sent)
    for alone in (before, [(0, timetable)]):
        if found := _breaches(limits, alone):
            raise PaceError(found)
    return _earliest(limits, before, timetable, not_before)


def earliest_after(layout: Layout, sent: Iterable[Sent], timetable: Timetable) -> int:
    """The same, but what was sent before is past: limits that it broke cannot be kept any
    more, and count for nothing.

    Raises PaceError if this timetable alone breaks a limit.
    """
    limits = limits_of(layout)
    if found := _breaches(limits, [(0, timetable)]):
        raise PaceError(found)
    return _earliest(limits, list(sent), timetable, 0)


def _earliest(limits: Limits, before: list[Sent], timetable: Timetable, not_before: int) -> int:
    own = _throws(limits, [(0, timetable)])
    # Counted, for throws at the same moment break a limit in the same words.
    past = Counter(_breaches(limits, before))
    # A limit is kept from some moment on; it can begin to be kept only where a rest ends.
    moments = {not_before}
    for earlier in _throws(limits, before):
        rests = (0, 1, limits.rests.get(earlier.drive, 0), _rest(limits, earlier.supply))
        for over in (earlier.until + rest for rest in rests):
            moments |= {over - later.at for later in own if over - later.at > not_before}
    return next(
        m
        for m in sorted(moments)
        if not Counter(_breaches(limits, [*before, (m, timetable)])) - past
    )


def _rest(limits: Limits, supply: str | None) -> int:
    return limits.by_supply[supply].rest if supply in limits.by_supply else 0


def _throws(limits: Limits, sent: Iterable[Sent]) -> list[_Thrown]:
    thrown = []
    for start, timetable in sent:
        for timed in timetable.commands:
            if timed.command.device != "signal" and not timed.by_hand:
                throw = limits.throw(timed.command)
                at, until = start + timed.at, start + timed.until
                thrown.append(_Thrown(at, until, throw.name, throw.supply, throw.motors))
    return sorted(thrown, key=lambda t: (t.at, t.until, t.drive))


def _breaches(limits: Limits, sent: list[Sent]) -> tuple[Breach, ...]:
    thrown = _throws(limits, sent)
    found = [*_left_on(sent), *_of_drives(limits, thrown), *_of_supplies(limits, thrown)]
    return tuple(sorted(found, key=lambda b: (b.at, b.name)))


def _left_on(sent: Iterable[Sent]) -> Iterable[Breach]:
    for start, timetable in sent:
        for timed in timetable.commands:
            name = timed.command.name
            if timed.command.how == "coil" and not timed.command.milliseconds:
                at = start + timed.at
                yield Breach(at, name, f"{name} is a coil without a pulse; left on, it overheats")


def _of_drives(limits: Limits, thrown: Iterable[_Thrown]) -> Iterable[Breach]:
    last: dict[str, _Thrown] = {}
    for throw in thrown:
        before = last.get(throw.drive)
        last[throw.drive] = throw
        if before is None:
            continue
        rest = limits.rests.get(throw.drive, 0)
        again = f"{throw.drive} would be thrown again"
        if throw.at < before.until or throw.at == before.at:
            yield Breach(throw.at, throw.drive, f"{again} while it is still being thrown")
        elif throw.at < before.until + rest:
            yield Breach(
                throw.at,
                throw.drive,
                f"{again} {throw.at - before.until} ms after its throw; it must be left alone "
                f"for {rest} ms, or it overheats",
            )


def _of_supplies(limits: Limits, thrown: Sequence[_Thrown]) -> Iterable[Breach]:
    for supply, limit in limits.by_supply.items():
        taken: list[_Thrown] = []
        for throw in thrown:
            if throw.supply != supply or throw.until - throw.at + limit.rest == 0:
                continue
            taken = [t for t in taken if throw.at < t.until + limit.rest]
            taken.append(throw)
            if sum(t.motors for t in taken) > limit.slots:
                rest = f" and rests {limit.rest} ms after each" if limit.rest else ""
                yield Breach(
                    throw.at,
                    supply,
                    f"{supply} throws {limit.slots} at a time{rest}; "
                    f"{throw.drive} would be asked of it too soon",
                )
