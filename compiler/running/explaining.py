"""What may have happened unseen, so that what was seen could happen.

Some events of a machine are seen and others are not: a section is reported occupied, but nobody
reports that a train has passed the signal before it. Kept are the states that the machine can be
in after all that was seen, each with a run that leads there: the observer of a discrete-event
system with unobservable events (M. Sampath and others, "Diagnosability of discrete-event
systems", 1995).

Not every such run is looked at. What is not seen happens as late as it can: only when something
that is seen needs it, or would make it impossible. Events that have nothing to do with what is
seen can be put off (the reduction of P. Godefroid, "Partial-order methods for the verification of
concurrent systems", 1996); those looked at are found backwards from what the seen event lacks.
Each has a cost, which says how unlikely it is, and what fits is gone on with in the order of its
cost. If later nothing fits any more, or only what is unlikely, the last of what was seen is gone
through again with more of what may have happened. So a run that is found is a run of the machine;
that none is found is no proof that there is none.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush
from typing import NamedTuple

from bellcrank.machine.machine_model import Machine, State
from bellcrank.running.packed import Encoding, Literal, PackedClause, PackedEvent

_PackedState = tuple[int, ...]
"""For each variable the one bit of its value."""

_FOR_ANOTHER = 150
"""States looked at once something is found, for what else may have been."""

_DEEPEST = 14
"""Steps back from what was seen."""

_LATER = 3
"""Rounds after what was seen may be possible, in which more may happen before it."""


class _Care(NamedTuple):
    """How much is looked at. further: steps back beyond those that are needed. unlikely: whether
    also what is less likely than need be. back: how much of what was seen is gone through again.
    most: states looked at for one thing that was seen, from one state. width: states that are
    kept. margin: how much less likely than the likeliest they may be."""

    further: int
    unlikely: bool
    back: tuple[int, ...]
    most: int
    width: int
    margin: int


_QUICKLY = _Care(0, False, (), 1_500, 48, 3)
_FURTHER = _Care(3, False, (4, 16), 400, 12, 3)
_THOROUGHLY = _Care(2, True, (4, 16, 64, 256), 1_500, 48, 12)


@dataclass(frozen=True, slots=True, eq=False)
class Fitting:
    """A state that fits what was seen, and how the machine comes there.

    cost: how unlikely all is that must have happened unseen. events: by their numbers, the last
    of the run, behind those of `before`.
    """

    state: _PackedState
    cost: int = 0
    events: tuple[int, ...] = ()
    before: Fitting | None = None

    def run(self) -> list[int]:
        """All events, from the beginning or as far back as they are kept."""
        found: list[tuple[int, ...]] = []
        at: Fitting | None = self
        while at is not None:
            found.append(at.events)
            at = at.before
        return [event for events in reversed(found) for event in events]


class _Way(NamedTuple):
    """A way on from a state that fits: as `Fitting`, while it is made."""

    state: _PackedState
    cost: int
    events: tuple[int, ...]
    after: Fitting


Seen = Sequence[Sequence[int]]
"""What was seen to happen at once: events one after the other, of each the choices."""


class Explaining:
    """The states of a machine that fit what was seen.

    fitting: the likeliest first; none if nothing was found that fits.
    """

    def __init__(
        self,
        machine: Machine,
        unseen: Mapping[int, int],
        at_once: Iterable[int] = (),
        shown: Iterable[str] = (),
        *,
        for_ever: bool = False,
    ) -> None:
        """unseen: the events that nobody sees, by their number, with how unlikely each is.
        at_once: those that nobody sees and that happen as soon as they may.
        shown: variables of which every change is seen. So an event changes them only as one of the
        choices of what was seen.
        for_ever: runs are not kept from the beginning, since what is seen never ends."""
        self.machine = machine
        at_once = tuple(at_once)
        self._for_ever = for_ever
        self._encoding = Encoding(machine.variables)
        self._events = [self._encoding.event(n, event) for n, event in enumerate(machine.events)]
        self._unseen = {**unseen, **dict.fromkeys(at_once, 0)}
        self._settles: defaultdict[int, list[int]] = defaultdict(list)
        self._tiers = sorted(set(self._unseen.values()))
        self._no_less_likely = {
            tier: frozenset(n for n, unlikely in self._unseen.items() if unlikely <= tier)
            for tier in self._tiers
        }
        seen = {self._encoding.place[name] for name in shown}
        self._would_show: defaultdict[int, list[tuple[int, int]]] = defaultdict(list)
        self._makes: defaultdict[int, list[tuple[int, int]]] = defaultdict(list)
        self._reads: defaultdict[int, list[int]] = defaultdict(list)
        for number in at_once:
            for variable in _named(self._events[number]):
                self._settles[variable].append(number)
        for number in self._unseen:
            event = self._events[number]
            for variable, changes in event.changes:
                into = out = 0
                for old, new in changes:
                    out |= old
                    into |= new
                if variable in seen:
                    self._would_show[number].append((variable, out))
                else:
                    self._makes[variable].append((number, into))
            for variable in _named(event):
                self._reads[variable].append(number)
        self._made_by: dict[Literal, tuple[int, ...]] = {}
        self._past: list[tuple[list[Fitting], Seen]] = []
        self.fitting: list[Fitting] = []

    def begin(self, states: Iterable[State]) -> None:
        """Begin in any of these states."""
        self._past.clear()
        self.fitting = [Fitting(self._packed(state)) for state in states]

    def state(self, fitting: Fitting) -> dict[str, str]:
        """A state by names."""
        values = self.machine.variables.values()
        return {
            v.name: v.values[bit.bit_length() - 1]
            for v, bit in zip(values, fitting.state, strict=True)
        }

    def see(self, seen: Seen) -> bool:
        """Something was seen. Whether anything fits it; if not, all stays as it was."""
        following = self._after(self.fitting, seen, _QUICKLY)
        for unlikely, care in ((3, _FURTHER), (8, _THOROUGHLY)):
            # Something likely may have happened before, instead of the unlikely now.
            if not following or following[0].cost >= self.fitting[0].cost + unlikely:
                other = self._again(seen, care)
                if other and (not following or other[0].cost < following[0].cost):
                    following = other
        if not following:
            return False
        self._past.append((self.fitting, seen))
        del self._past[: -max(_THOROUGHLY.back)]
        self.fitting = following
        return True

    # ------------------------------------------------------------------ one thing seen

    def _again(self, seen: Seen, care: _Care) -> list[Fitting]:
        """Go through the last of what was seen again, with more of what may have happened."""
        for back in care.back:
            past = self._past[-back:]
            if not past:
                return []
            fitting = past[0][0]
            for each in (*(then for _, then in past), seen):
                fitting = self._after(fitting, each, care)
            if fitting:
                return fitting
            if len(past) < back:
                return []
        return []

    def _after(self, fitting: Iterable[Fitting], seen: Seen, care: _Care) -> list[Fitting]:
        """What fits after something was seen, the likeliest first."""
        ways = [_Way(each.state, each.cost, (), each) for each in fitting]
        for choices in seen:
            ways = self._on_to(choices, ways, care)
        return [
            Fitting(way.state, way.cost, way.events, None if self._for_ever else way.after)
            for way in ways
        ]

    def _on_to(self, choices: Sequence[int], ways: Iterable[_Way], care: _Care) -> list[_Way]:
        """The ways on to one of some choices, the likeliest first; what is much less likely than
        these is left."""
        found: dict[_PackedState, _Way] = {}
        heap = [(way.cost + self._tiers[0], n, 0, way) for n, way in enumerate(ways)]
        heapify(heap)
        likeliest: int | None = None
        while heap:
            cost, place, tier, way = heappop(heap)
            if likeliest is not None and cost > likeliest + care.margin:
                break
            most = care.most if likeliest is None else min(care.most, _FOR_ANOTHER)
            on = self._leading_to(choices, way, self._tiers[tier], care, most)
            for each in on:
                known = found.get(each.state)
                if known is None or each.cost < known.cost:
                    found[each.state] = each
                likeliest = each.cost if likeliest is None else min(likeliest, each.cost)
            if tier + 1 < len(self._tiers) and (care.unlikely or not on):
                heappush(heap, (way.cost + self._tiers[tier + 1], place, tier + 1, way))
        return sorted(found.values(), key=lambda way: way.cost)[: care.width]

    def _leading_to(
        self, choices: Sequence[int], way: _Way, tier: int, care: _Care, most: int
    ) -> list[_Way]:
        """Runs that go on from a way, none of whose events is less likely than `tier`, and whose
        last is the first of some choices that happens in them."""
        likely = [choice for choice in choices if self._unseen.get(choice, 0) <= tier]
        able = [choice for choice in likely if self._possible(choice, way.state)]
        if able:
            return [on for choice in able for on in self._at_once(choice, way, care)]
        cones = self._cones(likely, way.state, tier, care.further)
        found = (self._search(likely, cone, way, care, most) for cone in cones)
        return next(filter(None, found), [])

    def _at_once(self, seen: int, way: _Way, care: _Care) -> Iterator[_Way]:
        """What is seen, and what may have happened before it and not any more after it."""
        on = self._on(way, seen)
        yield on
        changed = self._events[seen].changes
        for number in dict.fromkeys(n for v, _ in changed for n in self._reads[v]):
            unlikely = self._unseen[number]
            if (unlikely and not care.unlikely) or not self._unnoticed(number, way.state):
                continue
            then = self._on(way, number)
            if not self._possible(number, on.state) and self._possible(seen, then.state):
                yield self._on(then, seen)

    def _on(self, way: _Way, number: int) -> _Way:
        """A way with one event more."""
        return _Way(
            self._do(number, way.state),
            way.cost + self._unseen.get(number, 0),
            (*way.events, number),
            way.after,
        )

    def _cones(
        self, choices: Sequence[int], state: _PackedState, tier: int, further: int
    ) -> Iterator[Sequence[int]]:
        """Ever more events, none less likely than `tier`, that may lead to one of the choices.

        further: steps back beyond those that are needed.
        """
        likely = self._no_less_likely[tier]
        lacks = _Lacking(self._events, state)
        cone: dict[int, None] = {}
        wanted = lacks.all_of(choices)
        for depth in range(1, _DEEPEST):
            new = self._makers(wanted, cone, likely)
            if not new:
                break
            cone |= new
            wanted = lacks.all_of(new)
            if next(self._reached(choices, list(cone), state), None) is None:
                continue
            wider = self._cone(choices, lacks, depth + further, likely)
            rounds = list(self._reached(choices, wider, state))
            for reached in rounds[-1:] if further else rounds:
                yield self._cone(choices, lacks, depth + further, reached)

    def _search(
        self,
        choices: Sequence[int],
        cone: Sequence[int],
        begin: _Way,
        care: _Care,
        most: int,
    ) -> list[_Way]:
        """The likeliest and shortest runs of these events up to one of the choices (E. W.
        Dijkstra, "A note on two problems in connexion with graphs", 1959)."""
        found: list[_Way] = []
        heap: list[tuple[int, int, int, _Way]] = [(0, 0, 0, begin)]
        seen = {begin.state}
        count = 0
        while heap and count < most and len(found) < care.width:
            _, _, _, way = heappop(heap)
            if found and way.cost > found[0].cost and not care.unlikely:
                break
            able = [choice for choice in choices if self._possible(choice, way.state)]
            if able:
                if not any(set(known.events[:-1]) <= set(way.events) for known in found):
                    found += (self._on(way, choice) for choice in able)
                continue
            for number in cone:
                if self._unnoticed(number, way.state):
                    on = self._on(way, number)
                    if on.state not in seen:
                        seen.add(on.state)
                        count += 1
                        heappush(heap, (on.cost, len(on.events), count, on))
        return found

    # ------------------------------------------------------------ what may matter

    def _cone(
        self, choices: Sequence[int], lacks: _Lacking, depth: int, among: Container[int]
    ) -> list[int]:
        """The events that may help: those that make true what the choices lack, those that make
        true what these lack, and so on; and those that make true again what others undo."""
        state = lacks.state
        found: dict[int, None] = {}
        self._widen(found, lacks.all_of(choices), lacks, depth, among)
        undone = {variable for number in found for variable, _ in self._events[number].changes}
        again = [
            clause
            for number in choices
            for clause in _clauses(self._events[number])
            if any(v in undone and state[v] & mask for v, mask in clause)
        ]
        self._widen(found, again, lacks, depth, among)
        return list(found)

    def _widen(
        self,
        found: dict[int, None],
        wanted: Iterable[PackedClause],
        lacks: _Lacking,
        depth: int,
        among: Container[int],
    ) -> None:
        for _ in range(depth):
            new = self._makers(wanted, found, among)
            if not new:
                break
            found |= new
            wanted = lacks.all_of(new)

    def _makers(
        self, wanted: Iterable[PackedClause], known: Container[int], among: Container[int]
    ) -> dict[int, None]:
        """Events that can make one of these clauses true and are not known yet."""
        return {
            maker: None
            for literal in dict.fromkeys(literal for clause in wanted for literal in clause)
            for maker in self._making(literal)
            if maker in among and maker not in known
        }

    def _making(self, literal: Literal) -> Sequence[int]:
        """The events that can make a literal true."""
        known = self._made_by.get(literal)
        if known is None:
            variable, mask = literal
            known = tuple(maker for maker, into in self._makes[variable] if into & mask)
            self._made_by[literal] = known
        return known

    def _reached(
        self, choices: Sequence[int], cone: Sequence[int], state: _PackedState
    ) -> Iterator[set[int]]:
        """The events that can happen by the time one of the choices can, and a little later, if
        what has once been true stays true (the planning graph of A. Blum and M. Furst, "Fast
        planning through planning graph analysis", 1997, without its exclusions); none if none
        ever can."""
        values: dict[int, int] = {}
        reached: set[int] = set()
        later = 0
        while later < _LATER:
            if any(_allows(self._events[choice], values, state) for choice in choices):
                later += 1
                yield set(reached)
            reached.update(n for n in cone if _allows(self._events[n], values, state))
            grown: dict[int, int] = {}
            for number in reached:
                for variable, changes in self._events[number].changes:
                    now = values.get(variable, state[variable])
                    for old, new in changes:
                        if old & now and new & ~now:
                            grown[variable] = grown.get(variable, now) | new
            if not grown:
                break
            values |= grown

    # ----------------------------------------------------------------- the machine

    def _packed(self, state: State) -> _PackedState:
        encoding = self._encoding
        return tuple(
            1 << places[state[name]]
            for name, places in zip(encoding.names, encoding.values, strict=True)
        )

    def _possible(self, number: int, state: Sequence[int]) -> bool:
        event = self._events[number]
        for variable, mask in event.conditions:
            if not state[variable] & mask:
                return False
        return all(any(state[v] & mask for v, mask in clause) for clause in event.guard)

    def _unnoticed(self, number: int, state: _PackedState) -> bool:
        """Whether an event may happen without being seen."""
        if any(state[variable] & out for variable, out in self._would_show.get(number, ())):
            return False
        return self._possible(number, state)

    def _do(self, number: int, state: _PackedState) -> _PackedState:
        """The state after an event, and after all that happens at once then."""
        following = list(state)
        todo = self._change(number, following)
        while todo and self._settles:
            next_ = todo.pop()
            if self._possible(next_, following):
                todo += self._change(next_, following)
        return tuple(following)

    def _change(self, number: int, state: list[int]) -> list[int]:
        """Change a state by an event; what may happen at once after it."""
        after: list[int] = []
        before = tuple(state)
        for variable, changes in self._events[number].changes:
            for old, new in changes:
                if before[variable] & old:
                    state[variable] = new
                    after += self._settles.get(variable, ())
                    break
        return after


class _Lacking:
    """What guards lack in a state, each looked at once."""

    def __init__(self, events: Sequence[PackedEvent], state: _PackedState) -> None:
        self.state = state
        self._events = events
        self._known: dict[int, tuple[PackedClause, ...]] = {}

    def all_of(self, events: Iterable[int]) -> dict[PackedClause, None]:
        """The clauses that are false of the guards of these events, each once."""
        return {clause: None for number in events for clause in self._of(number)}

    def _of(self, number: int) -> tuple[PackedClause, ...]:
        known = self._known.get(number)
        if known is None:
            state, event = self.state, self._events[number]
            units = [((v, mask),) for v, mask in event.conditions if not state[v] & mask]
            rest = [c for c in event.guard if not any(state[v] & mask for v, mask in c)]
            known = self._known[number] = (*units, *rest)
        return known


def _clauses(event: PackedEvent) -> Iterator[PackedClause]:
    """All clauses of a guard."""
    for condition in event.conditions:
        yield (condition,)
    yield from event.guard


def _named(event: PackedEvent) -> Iterator[int]:
    yield from (variable for variable, _ in event.conditions)
    for clause in event.guard:
        yield from (variable for variable, _ in clause)


def _allows(event: PackedEvent, values: Mapping[int, int], state: _PackedState) -> bool:
    """Whether a guard can be true with any of the values that variables may have by now."""
    for variable, mask in event.conditions:
        if not values.get(variable, state[variable]) & mask:
            return False
    return all(any(values.get(v, state[v]) & mask for v, mask in clause) for clause in event.guard)
