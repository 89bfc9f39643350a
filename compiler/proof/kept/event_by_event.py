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
are the events as they are, by every word of them; by its name an event is only looked for.
Of an event that never happens G and H alone cannot be true together, whatever the clause.

A statement about a clause at an event with the help of others is of use only while these stand.
Whoever takes it over has to show them too, as in `kept_induction.py`. What follows in any state is
remembered of invariants that follow from lemmas alone, and taken over only where they are that:
there is no circle, for the reason that is given there.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from bellcrank.proof.moving.findings import IN_ANY_STATE
from bellcrank.running.packed import PackedClause, PackedEvent

Helping = tuple[int, ...]
"""The clauses that helped, by their numbers."""

AtEvents = dict[int, Helping]
"""What was shown of a clause: at the event of each number, or IN_ANY_STATE, with the help of
these."""


@dataclass(frozen=True, slots=True)
class ShownAtEvents:
    """What an induction showed.

    variables: of each variable its name, values and start, as one text.
    events: by their names. clauses: by their numbers, as digests. literals: the clauses themselves.
    at: of clauses that stood at the end. guarded: of some of those the events at which more of the
        guard took part than what it says of single variables.
    never: of events that never happen, by the guard alone, what helped to show it, and whether more
        of the guard did.
    stated: how many of the clauses, the first, are invariants.
    """

    variables: Sequence[str]
    events: Mapping[str, PackedEvent]
    clauses: Sequence[bytes]
    literals: Sequence[PackedClause]
    at: Mapping[int, AtEvents]
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
    guarded: whether of its longer clauses all are there still, and name no such variable.
    doing: those with which it does something else, by their numbers now.
    """

    now: int
    looser: frozenset[int]
    guarded: bool
    doing: frozenset[int]


class Following:
    """What an earlier induction says of another machine.

    variables, events, stated: as in `ShownAtEvents`.
    clauses: the number of each clause by its digest.
    never: events that never happen, with what helps and whether more of the guard does.
    """

    def __init__(
        self,
        shown: ShownAtEvents,
        variables: Sequence[str],
        events: Mapping[str, PackedEvent],
        clauses: Mapping[bytes, int],
        stated: int,
    ) -> None:
        self._stated = stated
        place = {said: number for number, said in enumerate(variables)}
        self._variable = [place.get(said, -1) for said in shown.variables]
        self._clause = [clauses.get(digest, -1) for digest in shown.clauses]
        self._then = {digest: number for number, digest in enumerate(shown.clauses)}
        self._shown = shown
        self._changes: list[_Change | None] = [None] * len(shown.events)
        for name, then in shown.events.items():
            now = events.get(name)
            if now is not None:
                self._changes[then.number] = self._change(then, now)
        self._helping: dict[Helping, Helping | None] = {}
        self.never = dict(self._never())

    def known(
        self, goal: int, clause: PackedClause, digest: bytes, standing: Sequence[bool]
    ) -> tuple[AtEvents, set[int]]:
        """What is known of a clause of this machine, by what still stands; and the events for
        which more of the guard is needed than what it says of single variables."""
        then = self._then.get(digest, -1)
        at = self._shown.at.get(then)
        if at is None:
            return {}, set()
        changes, helping = self._changes, self._helping
        by_guard = self._shown.guarded.get(then, ())
        found: AtEvents = {}
        guarded: set[int] = set()
        for event, group in at.items():
            if event == IN_ANY_STATE:
                helped = self._now(group)
                if helped is None or goal >= self._stated:
                    continue
                if all(number >= self._stated and standing[number] for number in helped):
                    found[IN_ANY_STATE] = helped
                continue
            change = changes[event]
            if change is None or (event in by_guard and not change.guarded):
                continue
            if group:
                if group not in helping:
                    helping[group] = self._now(group)
                now = helping[group]
                if now is None or not all(standing[number] for number in now):
                    continue
            else:
                now = group
            if change.doing and any(variable in change.doing for variable, _ in clause):
                continue
            if change.looser and not change.looser.isdisjoint(self._named((then, *group))):
                continue
            found[change.now] = now
            if event in by_guard:
                guarded.add(change.now)
        return found, guarded

    def stood(self, digest: bytes) -> bool:
        """Whether a clause was shown then."""
        return self._then.get(digest, -1) in self._shown.at

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
        """The clauses that helped by their numbers now; None if one is not here."""
        now = tuple([self._clause[number] for number in group])
        return None if -1 in now else now

    def _named(self, clauses: Iterable[int]) -> Iterator[int]:
        """The variables of clauses, by their numbers then."""
        literals = self._shown.literals
        for number in clauses:
            for variable, _ in literals[number]:
                yield variable

    def _change(self, then: PackedEvent, now: PackedEvent) -> _Change | None:
        """How an event is otherwise; None if nothing can be taken over."""
        here = self._variable
        units = now.units
        looser = set()
        for variable, mask in then.conditions:
            said = units.get(here[variable])
            if said is None or said & ~mask:
                looser.add(variable)
                if not mask:
                    return None
        guard = {frozenset(clause) for clause in now.guard}
        guarded = all(
            frozenset([(here[v], mask) for v, mask in clause]) in guard
            and not any(v in looser for v, _ in clause)
            for clause in then.guard
        )
        did = {here[variable]: frozenset(changes) for variable, changes in then.changes}
        does = {variable: frozenset(changes) for variable, changes in now.changes}
        doing = {v for v in did.keys() | does.keys() if did.get(v) != does.get(v)}
        return _Change(now.number, frozenset(looser), guarded, frozenset(doing))
