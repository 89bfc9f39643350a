"""The shortest time in which drives can be thrown within the limits of their supplies.

What is meant, to the millisecond:

- A drive is *being thrown* from its command until its pulse (coil) or its travel (motor,
  servo) is over. On an output of which the layout says no more the throw has no length.
- A supply of n at a time has n *slots*. A throw takes one slot for as long as the drive
  is being thrown, and for the `rest` of the supply after it; then, not before, the slot
  may serve the next throw, which may begin in that very millisecond. Which slot is of no
  account: at no time are more than n taken. A drive with a motor at each of several
  fittings takes a slot for each.
- A throw with a supply that rests takes a slot for the rest even if it has no length
  itself. What takes no time at all takes no slot.
- A drive of no supply, or of one without limits, is thrown at once.
- A drive *lies* once its throw is over or the time has passed in which it settles,
  whichever is longer, from its command on.
- A throw that comes `after` others begins when these lie, not before.

The total is the time until all lie. The rest of a supply after its last throw is not in
it: the next timetable reckons with that (`pace.py`).

Supplies have nothing to do with each other unless some throw comes after one on another
supply, so throws fall into groups that are timed one by one. In each, the time is
bounded from below by arguments on the slots, and a search through the orders of throws
finds the shortest. The search is exact if it comes to its end; it gives up after a fixed
number of steps, so that the same layout always has the same timetable.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from bellcrank.timing.branch_and_bound import FREE, Job, solve


@dataclass(frozen=True, slots=True)
class Throw:
    """A drive to be thrown.

    busy: milliseconds for which it is being thrown.
    lies: milliseconds from its command until it is taken to lie; not less than `busy`.
    supply: by name; None if there is none.
    after: throws, by name, that must lie before this one begins.
    motors: how many motors or coils it throws at once; each takes a slot.
    """

    name: str
    busy: int
    lies: int
    supply: str | None = None
    after: tuple[str, ...] = ()
    motors: int = 1


@dataclass(frozen=True, slots=True)
class Limit:
    """What a supply can do: slots at a time, and the rest of each after a throw."""

    slots: int
    rest: int


@dataclass(frozen=True, slots=True)
class Schedule:
    """When each throw begins, by name; the total; and a time that none can be below."""

    starts: Mapping[str, int]
    total: int
    bound: int


def schedule(throws: Sequence[Throw], limits: Mapping[str, Limit]) -> Schedule:
    """The shortest schedule, or the best one found beside the bound.

    limits: of each supply that has any. Among equals the order given is kept.
    Raises ValueError if throws wait for each other in a ring or for one not given.
    """
    ordered = _in_order(throws)
    starts: dict[str, int] = {}
    total = bound = 0
    for group in _groups(ordered, limits):
        found, of_group, at_least = _timed(group, limits)
        starts |= found
        total, bound = max(total, of_group), max(bound, at_least)
    return Schedule({t.name: starts[t.name] for t in throws}, total, bound)


def _in_order(throws: Sequence[Throw]) -> list[Throw]:
    """The throws with those that others come after first, by levels."""
    levels: dict[str, int] = {}
    waiting = {t.name: t for t in throws}
    level = 0
    while waiting:
        ready = [t for t in waiting.values() if all(name in levels for name in t.after)]
        if not ready:
            raise ValueError(f"throws wait for each other or for none: {', '.join(waiting)}")
        for throw in ready:
            del waiting[throw.name]
        levels |= {throw.name: level for throw in ready}
        level += 1
    return sorted(throws, key=lambda t: levels[t.name])


def _slotted(throw: Throw, limits: Mapping[str, Limit]) -> bool:
    limit = limits.get(throw.supply) if throw.supply is not None else None
    return limit is not None and throw.busy + limit.rest > 0


def _groups(throws: Sequence[Throw], limits: Mapping[str, Limit]) -> list[list[Throw]]:
    """Throws that have to do with each other, by a supply or by coming after."""
    parent: dict[tuple[str, str], tuple[str, str]] = {}

    def root(x: tuple[str, str]) -> tuple[str, str]:
        while (up := parent.setdefault(x, x)) != x:
            parent[x] = parent[up]
            x = up
        return x

    for throw in throws:
        mine = root(("throw", throw.name))
        if _slotted(throw, limits):
            parent[root(("supply", throw.supply or ""))] = mine
        for name in throw.after:
            parent[root(("throw", name))] = root(("throw", throw.name))
    groups: dict[tuple[str, str], list[Throw]] = {}
    for throw in throws:
        groups.setdefault(root(("throw", throw.name)), []).append(throw)
    return list(groups.values())


def _timed(group: Sequence[Throw], limits: Mapping[str, Limit]) -> tuple[dict[str, int], int, int]:
    """Starts, total and bound of throws that have to do with each other.

    Throws are sorted by what they are like and not by what they are called, so that
    what differs in names alone is searched once.
    """
    pools: dict[str, int] = {}
    slots: list[int] = []
    for throw in group:
        if _slotted(throw, limits) and throw.supply not in pools:
            assert throw.supply is not None
            pools[throw.supply] = len(slots)
            slots.append(limits[throw.supply].slots)

    def job(throw: Throw, places: Mapping[str, int]) -> Job:
        after = tuple(sorted(places[name] for name in throw.after))
        if not _slotted(throw, limits):
            return Job(FREE, 0, throw.lies, after)
        assert throw.supply is not None
        busy = throw.busy + limits[throw.supply].rest
        return Job(pools[throw.supply], busy, throw.lies, after, throw.motors)

    places: dict[str, int] = {}
    jobs: list[Job] = []
    rest = list(group)
    while rest:
        ready = [t for t in rest if all(name in places for name in t.after)]
        made = sorted(((job(t, places), t.name) for t in ready), key=lambda m: _likeness(m[0]))
        for one, name in made:
            places[name] = len(jobs)
            jobs.append(one)
        rest = [t for t in rest if t.name not in places]
    found = solve(tuple(jobs), tuple(slots))
    return {n: found.starts[i] for n, i in places.items()}, found.total, found.bound


def _likeness(job: Job) -> tuple[int, int, int, int, tuple[int, ...]]:
    return job.pool, job.need, job.busy, -job.lies, job.after
