"""What the last induction of this process showed of each clause at each event, taken over where
an event is otherwise now than it was.

A change of one line most often forbids an event something more, or has it do something else
besides. What was shown of a clause at the event as it was is then true of the event as it is:

Let F say that the clause is false after the event, G be the guard and H the clauses that helped;
it was shown that F, G and H cannot be true together. F follows from the clause and from what the
event does to its variables, so it is the same if that is the same. Of G, what is said of one
variable alone (a condition, which some value fulfils) contributes nothing if the variable stands
in no other part of G and neither in F nor in H: whatever else is true, the variable may be given
such a value. So F, H and G without such conditions cannot be true together either, and much less F,
H and a guard that says all of those parts. Of the longer clauses of G it is known of most
obligations that none took part (`Findings.guarded`), and then none need be there. What is compared
are the events as they are, by every word of them; by its name an event is only looked for. Where
variables have other values now, what was said then is compared as it reads now (`value_maps.py`).
Of an event that never happens G and H alone cannot be true together, whatever the clause.

A statement about a clause at an event with the help of others is of use only while these stand.
Whoever takes it over has to show them too, as in `kept_induction.py`. What follows in any state is
remembered of invariants that follow from lemmas alone, and taken over only where they are that:
there is no circle, for the reason that is given there.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from typing import NamedTuple

from bellcrank.machine.machine_model import Variable
from bellcrank.proof.kept.value_maps import ValueMaps
from bellcrank.proof.moving.clauses_in_play import ClausesInPlay
from bellcrank.proof.moving.findings import IN_ANY_STATE
from bellcrank.running.packed import PackedClause, PackedEvent

NONE, ALWAYS_TRUE = -1, -2
"""Stand for a clause that is not there, and for one that is true of any state."""

Helping = tuple[int, ...]
"""The clauses that helped, by their numbers."""

AtEvents = dict[int, Helping]
"""What was shown of a clause: at the event of each number, or IN_ANY_STATE, with the help of
these."""


class Wholly(NamedTuple):
    """All that had to be shown of a clause, together.

    events: all that could make it false, by their numbers; None if it was shown in any state.
    helping: whatever helped.
    """

    events: frozenset[int] | None
    helping: Helping


def wholly(at: AtEvents, threats: Set[int]) -> Wholly | None:
    """What was shown of a clause together, if that is all that had to be.

    threats: the events, by their numbers, that could make it false.
    """
    if IN_ANY_STATE in at:
        return Wholly(None, at[IN_ANY_STATE])
    if not at.keys() >= threats:
        return None
    return Wholly(frozenset(at), tuple({number: None for group in at.values() for number in group}))


class Taken(NamedTuple):
    """What is taken over of a clause: how many obligations, what helps, and whether it follows from
    that in any state."""

    obligations: int
    helping: Helping
    in_any_state: bool


@dataclass(frozen=True, slots=True)
class ShownAtEvents:
    """What an induction showed.

    variables: those of the machine. said: of each a digest of its name, values and start.
    events: by their names. clauses: by their numbers.
    at: of clauses that stood at the end. wholly: of those of which all was shown, together.
    implied: those that follow from one other clause, which is soon found again.
    guarded: of some the events at which more of the guard took part than what it says of single
        variables.
    never: of events that never happen, by the guard alone, what helped to show it, and whether more
        of the guard did.
    stated: how many of the clauses, the first, are invariants.
    """

    variables: Sequence[Variable]
    said: Sequence[str]
    events: Mapping[str, PackedEvent]
    clauses: Sequence[PackedClause]
    at: Mapping[int, AtEvents]
    wholly: Mapping[int, Wholly]
    implied: Set[int]
    guarded: Mapping[int, Collection[int]]
    never: Mapping[int, tuple[Helping, bool]]
    stated: int


@dataclass(slots=True)
class LastInduction:
    """Remembers the last induction. What is to be remembered is only noted until `settle` is
    called: a verdict is told first."""

    shown: ShownAtEvents | None = None
    later: Callable[[], ShownAtEvents] | None = None

    def settle(self) -> None:
        """Remember what was noted."""
        if self.later is not None:
            self.shown, self.later = self.later(), None


class _Change(NamedTuple):
    """How an event is otherwise.

    now: its number. looser: the variables of which it was said more, by their numbers then.
    otherwise: those of which it says something else.
    guarded: whether of its longer clauses all are there still, and name no such variable.
    doing: those with which it does something else, by their numbers then.
    """

    now: int
    looser: frozenset[int]
    otherwise: frozenset[int]
    guarded: bool
    doing: frozenset[int]


class Following:
    """What an earlier induction says of another machine.

    variables, said, events: as in `ShownAtEvents`. clauses: those of that machine.
    never: events that never happen, with what helps and whether more of the guard does.
    """

    def __init__(
        self,
        shown: ShownAtEvents,
        variables: Sequence[Variable],
        said: Sequence[str],
        events: Mapping[str, PackedEvent],
        clauses: ClausesInPlay,
    ) -> None:
        self._shown = shown
        self._clauses = clauses
        self._stated, self._standing = clauses.stated, clauses.standing
        self._maps = ValueMaps(shown.variables, shown.said, variables, said)
        self._last_alike = {clause: number for number, clause in enumerate(clauses.clauses)}
        self._now_of = [self._pair(clause, clauses) for clause in shown.clauses]
        # An invariant may be a lemma as well: of each what was shown of it, or else of the other.
        shown_of = {(self._now_of[n], n < shown.stated): n for n in shown.at}
        self._then_of: dict[int, int] = {}
        for goal, clause in enumerate(clauses.clauses):
            last, stated = self._last_alike[clause], goal < clauses.stated
            then = shown_of.get((last, stated), shown_of.get((last, not stated), NONE))
            if then >= 0:
                self._then_of[goal] = then
        self._changes: list[_Change | None] = [None] * len(shown.events)
        for name, event in shown.events.items():
            if name in events:
                self._changes[event.number] = self._change(event, events[name])
        self._numbers = [-1 if change is None else change.now for change in self._changes]
        self._gone = frozenset([event for event, now in enumerate(self._numbers) if now < 0])
        self._changed = frozenset(
            event
            for event, change in enumerate(self._changes)
            if change is not None and (change.looser or change.doing or not change.guarded)
        )
        self._unsteady = frozenset(self._unsteady_by(events))
        self._helping: dict[Helping, Helping | None] = {}
        self.never = dict(self._never())

    def _pair(self, clause: PackedClause, clauses: ClausesInPlay) -> int:
        """The number of a clause of then as it reads now; NONE where there is none. Of one that is
        an invariant and a lemma that of the lemma: it may help with both."""
        now = self._maps.clause(clause)
        if now is None:
            return ALWAYS_TRUE
        number = self._last_alike.get(now)
        return clauses.find_whatever_order(now) if number is None else number

    def _unsteady_by(self, events: Mapping[str, PackedEvent]) -> Iterator[int]:
        """The variables of which events say or do something else now: what could make a clause
        over others false are the events that could then, but for those that are gone."""
        for name, event in events.items():
            then = self._shown.events.get(name)
            change = None if then is None else self._changes[then.number]
            if change is None:
                yield from event.updates
            else:
                yield from map(self._maps.now, change.doing | change.otherwise)

    def wholly(
        self, goal: int, clause: PackedClause, threats: Callable[[PackedClause], Set[int]]
    ) -> Taken | None:
        """What was shown of a clause of this machine, if all of it was shown then and is so still.

        threats: the events, by their numbers, that could make a clause false now.
        """
        then = self._then_of.get(goal, NONE)
        its = self._shown.wholly.get(then)
        if its is None:
            return None
        helping = self._now(its.helping)
        if helping is None:
            return None
        if its.events is None:
            if not self._are_lemmas(goal, helping):
                return None
            return Taken(len(threats(clause)) + 1, helping, True)
        changed = its.events & self._changed
        if changed:
            at = self._shown.at[then]
            if not all(self._still(then, event, at[event]) for event in changed):
                return None
        for variable, _ in clause:
            if variable in self._unsteady:
                break
        else:
            return Taken(len(its.events - self._gone) + 1, helping, False)
        numbers, events = self._numbers, threats(clause)
        if {numbers[event] for event in its.events}.issuperset(events):
            return Taken(len(events) + 1, helping, False)
        return None

    def was_implied(self, goal: int) -> bool:
        """Whether a clause followed from one other, so that nothing is to be looked up."""
        return self._then_of.get(goal, NONE) in self._shown.implied

    def _are_lemmas(self, goal: int, helping: Helping) -> bool:
        """Whether an invariant is said to follow from lemmas, and from nothing else."""
        return goal < self._stated and all(number >= self._stated for number in helping)

    def known(self, goal: int) -> tuple[AtEvents, set[int]]:
        """What is known of a clause of this machine, by what still stands; and the events for
        which more of the guard is needed than what it says of single variables."""
        then = self._then_of.get(goal)
        if then is None:
            return {}, set()
        at = self._shown.at[then]
        by_guard = self._shown.guarded.get(then, ())
        found: AtEvents = {}
        guarded: set[int] = set()
        for event, group in at.items():
            now = self._now(group)
            if now is None:
                continue
            if event == IN_ANY_STATE:
                if self._are_lemmas(goal, now):
                    found[IN_ANY_STATE] = now
                continue
            change = self._changes[event]
            if change is None or not self._still(then, event, group):
                continue
            found[change.now] = now
            if event in by_guard:
                guarded.add(change.now)
        return found, guarded

    def _still(self, then: int, event: int, helping: Helping) -> bool:
        """Whether what was shown of a clause at an event, which is there yet, is so still."""
        change = self._changes[event]
        if change is None or event not in self._changed:
            return True
        if not change.guarded and event in self._shown.guarded.get(then, ()):
            return False
        if change.doing and any(v in change.doing for v, _ in self._shown.clauses[then]):
            return False
        return not change.looser or change.looser.isdisjoint(self._named((then, *helping)))

    def stood(self, goal: int) -> bool:
        """Whether a clause was shown then."""
        return goal in self._then_of

    def _never(self) -> Iterator[tuple[int, tuple[Helping, bool]]]:
        """The events that never happen yet, if what helps still stands: no clause has a part in
        that, so what they do is of no account."""
        for event, (group, guarded) in self._shown.never.items():
            change, now = self._changes[event], self._now(group)
            if change is None or now is None or (guarded and not change.guarded):
                continue
            if change.looser.isdisjoint(self._named(group)):
                yield change.now, (now, guarded)

    def _now(self, group: Helping) -> Helping | None:
        """The clauses that helped by their numbers now; None if one is not here or no longer
        stands."""
        if not group:
            return group
        now = self._helping.get(group, ())
        if now == ():
            numbers = self._now_of
            now = tuple([n for number in group if (n := numbers[number]) != ALWAYS_TRUE])
            now = self._helping[group] = None if NONE in now else now
        if now is None or (
            self._clauses.any_struck and not all(map(self._standing.__getitem__, now))
        ):
            return None
        return now

    def _named(self, clauses: Iterable[int]) -> Iterator[int]:
        """The variables of clauses, by their numbers then."""
        literals = self._shown.clauses
        for number in clauses:
            for variable, _ in literals[number]:
                yield variable

    def _change(self, then: PackedEvent, now: PackedEvent) -> _Change | None:
        """How an event is otherwise; None if nothing can be taken over."""
        maps = self._maps
        if maps.all_the_same and _says_the_same(then, now):
            return _Change(now.number, frozenset(), frozenset(), True, frozenset())
        units, full = now.units, maps.full
        looser = set()
        otherwise = maps.then(units) - {variable for variable, _ in then.conditions}
        for variable, mask in then.conditions:
            here, allowed = maps.literal((variable, mask))
            possible = units.get(here, full[here])
            if possible != allowed:
                otherwise.add(variable)
            if possible & ~allowed:
                looser.add(variable)
                if not mask:
                    return None
        guard = {frozenset(clause) for clause in now.guard}

        def said(clause: PackedClause) -> bool:
            there = maps.clause(clause)
            if there is None:
                return True
            if len(there) == 1:
                ((variable, mask),) = there
                return not units.get(variable, full[variable]) & ~mask
            return frozenset(there) in guard

        guarded = all(
            said(clause) and not any(v in looser for v, _ in clause) for clause in then.guard
        )
        did, does = then.updates, now.updates
        doing = {
            variable
            for variable in did.keys() | (maps.then(does) if did or does else ())
            if not maps.does_the_same(variable, did.get(variable, ()), does)
        }
        return _Change(
            now.number, frozenset(looser), frozenset(otherwise), guarded, frozenset(doing)
        )


def _says_the_same(then: PackedEvent, now: PackedEvent) -> bool:
    return (then.conditions, then.guard, then.changes) == (now.conditions, now.guard, now.changes)
