"""Throws in the order in which they were asked for, each as soon as its supply and its drive allow.

What a supply can do at once, how long it rests, how long a drive has to be left alone and which
throws of one fitting come first is the same as in timetables (`timing/schedule.py`, `lists.py`);
here it is kept across routes, as they are asked for: one queue for each supply, first come, first
served (FIFO). A throw that only waits for its own drive holds up nobody else.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import combinations, product
from math import inf, nextafter

from bellcrank.layout.layout_model import Layout, Work
from bellcrank.live.decisions import EndPulse, Throw
from bellcrank.machine.commands import Command, throw_command
from bellcrank.timing.limits import limits_of
from bellcrank.timing.schedule import Throw as Timing

_NEVER = inf
"""Not before something else has happened."""


@dataclass(frozen=True, slots=True)
class _Taken:
    """Slots of a supply that are taken until a time."""

    until: float
    slots: int


class Pacer:
    """What is still to be thrown, and what was thrown last."""

    def __init__(self, layout: Layout) -> None:
        self._limits = limits_of(layout)
        self._layout = layout
        self._commands: dict[Throw, Command] = {
            Throw(drive.name, position): throw_command(layout, drive.name, position)
            for drive in layout.drives.values()
            for position in drive.positions
        }
        self._timing: dict[Throw, Timing] = {
            throw: self._limits.throw(command) for throw, command in self._commands.items()
        }
        self._queues: defaultdict[str | None, list[Throw]] = defaultdict(list)
        self._taken: defaultdict[str, list[_Taken]] = defaultdict(list)
        self._rested_at: dict[str, float] = {}
        self._lie_at: dict[str, float] = {}
        self._pulses: dict[str, tuple[float, EndPulse]] = {}
        self._beside = _beside(layout)
        wirings = layout.hardware.wirings
        # Drives of which a report or a person tells that they lie.
        self._told = frozenset(
            d.name
            for d in layout.drives.values()
            if d.detected or d.name not in wirings or not wirings[d.name].outputs
        )

    def ask(self, throws: Iterable[Throw]) -> None:
        """Take in throws of one decision: of a fitting those first that go to a first position."""
        first = {d.name: d.positions[0] for d in self._layout.drives.values()}
        for throw in sorted(throws, key=lambda t: first[t.drive] != t.position):
            self._queues[self._timing[throw].supply].append(throw)

    def clear(self) -> None:
        """Nothing of what waits is thrown any more. Pulses that are on are ended as always."""
        self._queues.clear()

    def waiting(self) -> tuple[Throw, ...]:
        """What is still to be thrown."""
        return tuple(throw for queue in self._queues.values() for throw in queue)

    def ready(
        self, now: float, wanted: Callable[[Throw], bool], moves: Callable[[str], bool]
    ) -> list[Throw]:
        """What is to be thrown now; it counts as thrown from now on.

        wanted: whether a throw that has waited is still meant. moves: whether a drive is thought to
            be on its way.
        """
        found = []
        for supply, queue in self._queues.items():
            kept: list[Throw] = []
            full = False
            for throw in queue:
                if not wanted(throw):
                    continue
                if full or self._drive_free_at(throw, kept, moves) > now:
                    kept.append(throw)
                elif self._supply_free_at(supply, throw) > now:
                    kept.append(throw)
                    full = True
                else:
                    self._begin(throw, now)
                    found.append(throw)
            queue[:] = kept
        return found

    def ended(self, now: float) -> list[EndPulse]:
        """The pulses that are over."""
        over = sorted(drive for drive, (at, _) in self._pulses.items() if at <= now)
        return [self._pulses.pop(drive)[1] for drive in over]

    def next_at(self, now: float, moves: Callable[[str], bool]) -> float | None:
        """When a pulse is over, or something else that waits may be thrown if nothing comes in."""
        times = [at for at, _ in self._pulses.values()]
        for supply, queue in self._queues.items():
            before: list[Throw] = []
            for throw in queue:
                free = self._drive_free_at(throw, before, moves)
                times.append(max(now, free, self._supply_free_at(supply, throw)))
                before.append(throw)
        return min((at for at in times if at < _NEVER), default=None)

    def _begin(self, throw: Throw, now: float) -> None:
        timing = self._timing[throw]
        until = now + timing.busy
        # Not twice in one moment, even where a throw takes no time.
        self._rested_at[throw.drive] = max(
            until + self._limits.rests.get(throw.drive, 0), nextafter(now, _NEVER)
        )
        self._lie_at[throw.drive] = now + timing.lies
        if timing.supply is not None and timing.supply in self._limits.by_supply:
            rest = self._limits.by_supply[timing.supply].rest
            taken = self._taken[timing.supply]
            taken[:] = [t for t in taken if t.until > now]
            if timing.busy + rest:
                taken.append(_Taken(until + rest, timing.motors))
        if self._commands[throw].held:
            self._pulses[throw.drive] = until, EndPulse(throw.drive, throw.position)

    def _drive_free_at(
        self, throw: Throw, before: Iterable[Throw], moves: Callable[[str], bool]
    ) -> float:
        """When a drive may be thrown again, as far as it and its fitting are concerned.

        before: throws that wait before it.
        """
        others = self._beside.get(throw.drive, frozenset())
        if any(w.drive in others or w.drive == throw.drive for w in before):
            return _NEVER
        if any(other in self._told and moves(other) for other in others):
            return _NEVER
        own = self._rested_at.get(throw.drive, 0.0)
        return max([own, *(self._lie_at.get(other, 0.0) for other in others)])

    def _supply_free_at(self, supply: str | None, throw: Throw) -> float:
        """When a supply has slots enough."""
        limit = self._limits.by_supply.get(supply) if supply is not None else None
        if supply is None or limit is None:
            return 0.0
        timing = self._timing[throw]
        if not timing.busy + limit.rest:
            return 0.0
        in_use = sum(t.slots for t in self._taken[supply])
        free_at = 0.0
        for each in sorted(self._taken[supply], key=lambda t: t.until):
            if in_use + min(timing.motors, limit.slots) <= limit.slots:
                break
            in_use -= each.slots
            free_at = each.until
        return free_at


def _beside(layout: Layout) -> dict[str, frozenset[str]]:
    """The other drives of a fitting, where they are thrown one after another: those of which not
    every two positions are on some way, such as the two blades of three-way points."""
    found: defaultdict[str, set[str]] = defaultdict(set)
    for element in layout.elements.values():
        own = list(element.kind.drives)
        for one, other in combinations(own, 2):
            pairs = product(element.kind.drives[one], element.kind.drives[other])
            if all(element.kind.lets_lie({one: p, other: q}) for p, q in pairs):
                continue
            a, b = (layout.drive_of[Work(element.name, d)] for d in (one, other))
            if a != b:
                found[a].add(b)
                found[b].add(a)
    return {drive: frozenset(others) for drive, others in found.items()}
