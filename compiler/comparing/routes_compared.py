"""Routes and locking of two layouts: what is gone, what is new, and which pairs can be set
together now that could not before, or the other way round."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from itertools import combinations

from bellcrank.comparing.differences import LineChange, Pair, PairChange, RouteChange
from bellcrank.compilation import Sound
from bellcrank.layout.layout_model import Position
from bellcrank.machine.assumptions import named_in
from bellcrank.machine.build_machine import dead_ends
from bellcrank.machine.locking import written_rules_between
from bellcrank.proof.standing.standing_check import which_can_stand
from bellcrank.routes.route_model import Route
from bellcrank.routes.sentences import listed, why_conflict


def routes_compared(old: Sound, new: Sound) -> Iterator[RouteChange]:
    """Routes, by their names: those that are gone first, the others in the order of the new
    table."""
    before, now = old.table.routes, new.table.routes
    for name in before:
        if name not in now:
            yield RouteChange(name, "gone")
    for name, route in now.items():
        if name not in before:
            yield RouteChange(name, "new")
        elif what := tuple(_route(before[name], route)):
            yield RouteChange(name, "changed", what)


def _route(old: Route, new: Route) -> Iterator[str]:
    """What is other about a route, each thing once: where it leads says which sections it has if
    they are called so, and a way that needs other positions is told by these."""
    elements = [w.element for w in new.ways]
    leads_elsewhere = [w.element for w in old.ways] != elements
    if leads_elsewhere:
        yield f"it leads over {listed(elements)} now"
    elif other := _other_ways(old, new):
        yield f"it takes another way through {listed(other)}"
    if old.sections != new.sections and not (leads_elsewhere and list(new.sections) == elements):
        yield f"its sections are {listed(new.sections)} now"
    if needs := _other_needs(dict(old.positions), dict(new.positions)):
        yield needs
    if set(old.flank) != set(new.flank):
        flank = [f"{drive} {position}" for drive, position in new.flank]
        yield f"its flank is {listed(flank)} now" if flank else "nothing covers its flank any more"
    if old.overlap_sections != new.overlap_sections:
        over = new.overlap_sections
        yield f"its overlap is {listed(over)} now" if over else "it has no overlap any more"
    if (old.aspect, old.calling_on) != (new.aspect, new.calling_on):
        yield f"{new.start} shows {new.aspect} for it now"


def _other_ways(old: Route, new: Route) -> list[str]:
    """Where it goes another way, and the same positions as before lead there."""
    ways = zip(old.ways, new.ways, strict=True)
    return [w.element for was, w in ways if was != w and was.when == w.when]


def _other_needs(old: dict[str, str], new: dict[str, str]) -> str:
    """The drives that it needs otherwise, as a sentence without its full stop."""
    needed = [
        f"{drive} {position}" + (f" in place of {old[drive]}" if drive in old else "")
        for drive, position in new.items()
        if old.get(drive) != position
    ]
    freed = [drive for drive in old if drive not in new]
    parts = [f"it needs {listed(needed)} now"] if needed else []
    parts += [f"it does not need {listed(freed)} any more"] if freed else []
    return " and ".join(parts)


def pairs_compared(old: Sound, new: Sound) -> Iterator[PairChange]:
    """The pairs of routes of both for which the answer is another, decided by a solver on each
    locking."""
    common = [name for name in new.table.routes if name in old.table.routes]
    before, now = _Rules(old), _Rules(new)
    asked = [pair for pair in combinations(common, 2) if before.of(pair) != now.of(pair)]
    if old.locking.needs_set or new.locking.needs_set:
        # Where a route needs that another is set, that may hang on any rule.
        asked = list(combinations(common, 2))
    answers = zip(
        asked,
        which_can_stand(old.layout, old.table, old.locking, asked),
        which_can_stand(new.layout, new.table, new.locking, asked),
        strict=True,
    )
    for pair, could, can in answers:
        if could != can:
            yield PairChange(pair, can, _why_not(old if can else new, pair))


class _Rules:
    """What decides about two routes of a layout, where no route needs that another is set."""

    def __init__(self, c: Sound) -> None:
        self._c = c
        self._needs: defaultdict[str, set[tuple[str, str]]] = defaultdict(set)
        self._locks: defaultdict[frozenset[str], set[tuple[Position, ...]]] = defaultdict(set)
        for need in c.locking.needs:
            self._needs[need.route].add((need.drive, need.position))
        for lock in c.locking.locks:
            self._locks[frozenset((lock.first, lock.second))].add(lock.when)

    def of(self, pair: Pair) -> tuple[object, ...]:
        needs = [self._needs[route] for route in pair]
        locks = self._locks[frozenset(pair)]
        return self._c.locking.derived, set(self._c.table.reasons(*pair)), needs, locks


def _why_not(c: Sound, pair: Pair) -> str:
    """Why two routes of a layout cannot both be set."""
    one, other = (c.table.routes[name] for name in pair)
    rules = written_rules_between(c.locking, *pair)
    conflict = why_conflict(one, other, c.layout, c.table)
    if conflict and c.locking.derived:
        return conflict
    if rules:
        return f"a written rule keeps them apart: {'; '.join(rules)}"
    return conflict or "the locking as a whole keeps them apart"


def expectations_compared(old: Sound, new: Sound) -> Iterator[LineChange]:
    """What is expected, in the words in which results name it."""
    before = [expectation.name for expectation in old.locking.expectations]
    now = [expectation.name for expectation in new.locking.expectations]
    yield from _lines(before, now)


def assumptions_compared(old: Sound, new: Sound) -> Iterator[LineChange]:
    """What is assumed of trains and people. Of an assumption that is about other things than
    before, which are new and which are gone."""
    before, now = old.machine.assumptions, new.machine.assumptions
    was, is_now = (named_in(c.layout, dead_ends(c.layout, c.table)) for c in (old, new))
    changed = {
        name: "; ".join(_other_names(was[name], is_now[name]))
        for name in was
        if name in before and name in now and set(was[name]) != set(is_now[name])
    }
    yield from (LineChange(f"{name}: {said}", "changed") for name, said in changed.items())
    yield from _lines(
        [text for name, text in before.items() if name not in changed],
        [text for name, text in now.items() if name not in changed],
    )


def _other_names(before: Sequence[str], now: Sequence[str]) -> Iterator[str]:
    more = [name for name in now if name not in before]
    fewer = [name for name in before if name not in now]
    if more:
        yield f"now also for {listed(more)}"
    if fewer:
        yield f"no longer for {listed(fewer)}"


def _lines(before: list[str], now: list[str]) -> Iterator[LineChange]:
    yield from (LineChange(text, "gone") for text in before if text not in now)
    yield from (LineChange(text, "new") for text in now if text not in before)
