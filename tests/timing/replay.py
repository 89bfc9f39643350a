"""A timetable played event by event, and the shortest one found by z3.

Both are written from what the layout says and grammar/README.md, "When commands are
sent"; neither knows how the compiler finds a timetable.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from functools import partial

import z3

from bellcrank.layout.layout_model import Layout
from bellcrank.timing.timetable_model import Timed, Timetable


def supply_of(layout: Layout, decoder: str | None) -> str | None:
    feeding = [s.name for s in layout.hardware.supplies.values() if decoder in s.feeds]
    assert len(feeding) <= 1
    return feeding[0] if feeding else None


def throw_of(layout: Layout, drive: str) -> int:
    """Milliseconds for which a drive is being thrown."""
    return layout.hardware.wirings[drive].milliseconds or 0


def lies_after(layout: Layout, drive: str) -> int:
    """Milliseconds from its command until a drive lies."""
    wiring = layout.hardware.wirings[drive]
    return max(wiring.milliseconds or 0, wiring.settles or 0)


def at_most(layout: Layout, supply: str) -> tuple[int, int]:
    """How many a supply throws at a time, and its rest."""
    said = layout.hardware.supplies[supply]
    if said.at_a_time is None and not said.rest:
        return 10**6, 0
    return said.at_a_time or 1, said.rest or 0


def thrown_by_wire(timetable: Timetable) -> list[Timed]:
    return [t for t in timetable.commands if t.command.phase == "drives" and t.command.decoder]


def faults(layout: Layout, timetable: Timetable) -> list[str]:
    """Everything that is wrong with a timetable, played millisecond after millisecond at
    which something happens."""
    found: list[str] = []
    happens: list[tuple[int, int, Callable[[], None]]] = []
    taken: Counter[str] = Counter()
    moving: set[str] = set()
    lies: dict[str, str] = {}
    off: list[str] = []

    def begin(timed: Timed) -> None:
        drive = timed.command.name
        if drive in moving or drive in lies:
            found.append(f"{drive} is thrown twice")
        if off:
            found.append(f"{drive} is thrown while {off} are off")
        if timed.until - timed.at != throw_of(layout, drive):
            found.append(f"{drive} is thrown for {timed.until - timed.at} ms")
        moving.add(drive)
        supply = supply_of(layout, timed.command.decoder)
        if supply is not None:
            count, rest = at_most(layout, supply)
            if throw_of(layout, drive) + rest:
                taken[supply] += 1
                over = timed.at + throw_of(layout, drive) + rest
                happens.append((over, 0, lambda: taken.subtract([supply])))
                if taken[supply] > count:
                    found.append(f"{supply} throws {taken[supply]} at {timed.at} ms")
        happens.append((timed.at + lies_after(layout, drive), 0, lambda: arrive(timed)))

    def arrive(timed: Timed) -> None:
        moving.discard(timed.command.name)
        lies[timed.command.name] = timed.command.state

    def clear(timed: Timed) -> None:
        off.append(timed.command.name)
        if moving:
            found.append(f"{timed.command.name} is off while {sorted(moving)} move")

    for timed in timetable.commands:
        match timed.command.phase:
            case "signals to stop":
                if timed.at or timed.until:
                    found.append(f"{timed.command.name} goes to stop at {timed.at} ms")
            case "drives" if timed.command.decoder:
                happens.append((timed.at, 1, partial(begin, timed)))
            case "signals off":
                happens.append((timed.at, 2, partial(clear, timed)))
    while happens:
        # What is over at a moment is over before anything begins at it.
        happens.sort(key=lambda h: h[:2])
        _, _, happen = happens.pop(0)
        happen()
    if timetable.total != max((t.at + lies_after(layout, t.command.name)
                               for t in thrown_by_wire(timetable)), default=0):  # fmt: skip
        found.append(f"the total is {timetable.total} ms")
    places = [(t.at, t.command.phase != "signals to stop") for t in timetable.commands]
    if places != sorted(places):
        found.append("commands do not stand in the order of their times")
    return found


def shortest(layout: Layout, timetable: Timetable, before: list[tuple[str, str]]) -> int:
    """The shortest total that z3 finds for the throws of a timetable.

    before: pairs of drives, the first of which must lie before the second is thrown.
    """
    optimize = z3.Optimize()
    thrown = {t.command.name: t.command for t in thrown_by_wire(timetable)}
    start = {name: z3.Int(name) for name in thrown}
    total = z3.Int("total")
    optimize.add(total >= 0)
    for name in thrown:
        optimize.add(start[name] >= 0, total >= start[name] + lies_after(layout, name))
    for first, then in before:
        if first in thrown and then in thrown:
            optimize.add(start[then] >= start[first] + lies_after(layout, first))
    for supply in layout.hardware.supplies:
        count, rest = at_most(layout, supply)
        takes = {
            name: throw_of(layout, name) + rest
            for name, command in thrown.items()
            if supply_of(layout, command.decoder) == supply and throw_of(layout, name) + rest
        }
        # What is taken is most just after something has begun.
        for name in takes:
            at = start[name]
            holding = [z3.And(start[n] <= at, at < start[n] + time) for n, time in takes.items()]
            optimize.add(z3.Sum([z3.If(held, 1, 0) for held in holding]) <= count)
    optimize.minimize(total)
    assert optimize.check() == z3.sat
    return int(optimize.model()[total].as_long())
