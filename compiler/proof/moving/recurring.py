"""What was shown of a clause, taken over for the one that is like it a stretch further on.

A long line is made of stretches that recur: stations of one kind, each with the same track on
either side. What differs between one and the next are names. So a renaming is looked for that
leads from each variable to the one that has its part a stretch further on, and with them from
events to events and from clauses to clauses; then what was shown of a clause in one stretch goes
on to the next, and from there to the one after it.

Where obligations that are alike are taken over one by one (`symmetry.py`), each is looked up by
itself. Here all of a clause is taken over at once. That it is sound follows from what is compared,
word for word, of each such renaming r, which gives no two variables one name:

- r leads from an event e to e' if its guard and its changes, with r in place of the names, are
  those of e', and each variable and its new name have the same values, and begin with the same.
- r carries a variable v if each event that moves r(v) is one that r leads to.

Let all variables of a clause g be carried, and g' be the clause of its words renamed. Whatever may
make g' false moves a variable of it, so it is an event e' that r leads to from an event e; it moves
just the variable of g from which that one has its name. The obligation of g' at e' is that of g at
e with other names: the same is false after it, the same is the guard. If clauses H helped there,
and those of their words renamed are here and stand, they help in the same way, for the question
that a solver answered names nothing: it has the shape of both. So it is at the start. What follows
in any state follows from renamed clauses, too. As in `kept_induction.py` that is taken over only of
invariants that follow from lemmas alone, so that no two clauses are taken to follow from each other
in one state.

The clauses that help have to be shown in their turn, as ever, and if one is lost, what leant on
it is examined again. Which renaming is tried is of no account for what is shown.
"""

from __future__ import annotations

from array import array
from collections import Counter, defaultdict, deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from bellcrank.proof.moving.clauses_in_play import ClausesInPlay
from bellcrank.proof.moving.findings import IN_ANY_STATE, Findings
from bellcrank.proof.moving.symmetry import Kinds
from bellcrank.running.packed import Packed, PackedEvent

MANY_CLAUSES = 20_000
"""Clauses of a machine from which on it is worth while to look for stretches that recur."""

LEAST = 6
"""How often a kind of event comes in a line, at least, so that it may come once in each stretch."""

MOST_TRIED = 3
"""Kinds of events that are tried as what comes once in each stretch."""

ENOUGH = 0.9
"""Of all variables, with so many carried no other renaming is tried."""

WORTH_WHILE = 0.25
"""With fewer carried there is no line to speak of."""

NOT_ASKED = -2
"""In place of a clause a stretch further on that was not looked for yet."""


@dataclass(slots=True)
class Renaming:
    """From each variable to the one that has its part a stretch further on.

    to: by the numbers of variables; -1 where there is none. carried: see above.
    """

    to: list[int]
    carried: list[bool]


def renaming_of(packed: Packed, kinds: Kinds) -> Renaming | None:
    """A renaming that carries many variables of a machine; None if none was found."""
    members: dict[int, list[int]] = defaultdict(list)
    for number in range(len(packed.events)):
        members[id(kinds.kind(number))].append(number)
    # What comes once in each stretch there is as often as there are stretches, so most sorts of
    # events are there as often.
    sizes = Counter(len(alike) for alike in members.values() if len(alike) >= LEAST)
    search = _Search(packed, kinds)
    best: Renaming | None = None
    most = WORTH_WHILE * len(packed.full)
    for size, _ in sizes.most_common(MOST_TRIED):
        alike = max(
            (them for them in members.values() if len(them) == size),
            key=lambda them: len(_variables(packed.events[them[0]])),
        )
        found = search.from_one_to_the_next(alike)
        count = sum(found.carried)
        if count > most:
            best, most = found, count
        if count >= ENOUGH * len(packed.full):
            break
    return best


class _Search:
    """Looks for renamings of one machine."""

    def __init__(self, packed: Packed, kinds: Kinds) -> None:
        self.packed = packed
        self.kinds = kinds
        self.moving = [
            [event.number for move in moves for event in move.events] for moves in packed.moves
        ]
        for numbers in self.moving:
            numbers.sort()
        self.to: list[int] = []
        self.from_: list[int] = []
        self.event: list[int] = []
        self.led_to = bytearray()
        self.new: deque[int] = deque()

    def from_one_to_the_next(self, alike: Sequence[int]) -> Renaming:
        """The renaming that leads from each of some events to the next of them."""
        packed = self.packed
        self.to, self.from_ = [-1] * len(packed.full), [-1] * len(packed.full)
        self.event, self.led_to = [-1] * len(packed.events), bytearray(len(packed.events))
        for one, other in pairwise(alike):
            self._lead(one, other)
        while self.new:
            variable = self.new.popleft()
            self._from_what_moves(variable, self.to[variable])
        return Renaming(self.to, [self._carried(v) for v in range(len(self.to))])

    def _from_what_moves(self, one: int, other: int) -> None:
        """Of the events that move two variables, take those of one kind in their order."""
        here, there = self._by_kind(one), self._by_kind(other)
        for kind, numbers in here.items():
            others = there.get(kind, ())
            if len(numbers) == len(others):
                for number, alike in zip(numbers, others, strict=True):
                    if self.event[number] < 0 and not self.led_to[alike]:
                        self._lead(number, alike)

    def _by_kind(self, variable: int) -> dict[int, list[int]]:
        found: dict[int, list[int]] = {}
        for number in self.moving[variable]:
            found.setdefault(id(self.kinds.kind(number)), []).append(number)
        return found

    def _lead(self, number: int, other: int) -> None:
        """Have the renaming lead from one event to another of its kind, if what it is by now
        allows it."""
        packed, to, from_ = self.packed, self.to, self.from_
        new: dict[int, int] = {}
        for variable, its in zip(
            _variables(packed.events[number]), _variables(packed.events[other]), strict=True
        ):
            known = to[variable]
            if known < 0:
                known = new.setdefault(variable, its)
                if from_[its] >= 0 or packed.start[variable] != packed.start[its]:
                    return
            if known != its:
                return
        if len(set(new.values())) < len(new):
            return
        for variable, its in new.items():
            to[variable] = its
            from_[its] = variable
            self.new.append(variable)
        self.event[number] = other
        self.led_to[other] = True

    def _carried(self, variable: int) -> bool:
        """Whether all that moves what a variable is renamed to is led to: each event leads to
        another one, so it is if there are as many and all that move the variable lead on."""
        its = self.to[variable]
        return (
            its >= 0
            and len(self.moving[its]) == len(self.moving[variable])
            and all(self.event[number] >= 0 for number in self.moving[variable])
        )


def _variables(event: PackedEvent) -> list[int]:
    """The variables of all that an event says, in its order: of two events of one kind those at
    one place have the same part."""
    found = [variable for variable, _ in event.conditions]
    for clause in event.guard:
        found += [variable for variable, _ in clause]
    found += [variable for variable, _ in event.changes]
    return found


@dataclass(slots=True)
class _Shown:
    """What was shown of a clause.

    count: obligations. helping: all clauses that helped. in_any_state: those of them with which it
        follows in any state; None if it does not.
    """

    count: int = 0
    helping: list[int] = field(default_factory=list)
    in_any_state: list[int] | None = None


class Recurring:
    """The clauses of a line, each with the one a stretch further on."""

    def __init__(self, packed: Packed, clauses: ClausesInPlay, renaming: Renaming) -> None:
        self.packed = packed
        self.clauses = clauses
        self.stated = packed.stated
        self.renaming = renaming
        self._images = array("i", [NOT_ASKED]) * len(clauses.clauses)
        self._changes = clauses.changes

    def further_on(self, goals: Sequence[int]) -> Further:
        """Which of some clauses are to be examined, and which may then be taken over."""
        ahead = bytearray(len(self.clauses.clauses))
        for goal in goals:
            ahead[goal] = True
        next_: dict[int, int] = {}
        for goal in goals:
            image = self.image(goal) if self._carried(goal) else -1
            if image >= 0 and ahead[image] and image != goal:
                next_[goal] = image
        later = set(next_.values())
        return Further(self, array("i", (goal for goal in goals if goal not in later)), next_)

    def _carried(self, goal: int) -> bool:
        carried = self.renaming.carried
        return all(carried[variable] for variable, _ in self.clauses.clauses[goal])

    def image(self, number: int) -> int:
        """The clause a stretch further on that stands; -1 if there is none. Of several the last, if
        there are any an invariant for an invariant and a lemma for a lemma: some are both."""
        return self.images([number])[0]

    def images(self, numbers: Sequence[int]) -> list[int]:
        """The same of several clauses. Along a line they are asked for a million times, and most
        were asked for before."""
        if self._changes != self.clauses.changes:
            self._changes = self.clauses.changes
            self._images = array("i", [NOT_ASKED]) * len(self._images)
        known = self._images
        found = [*map(known.__getitem__, numbers)]
        if NOT_ASKED in found:
            for place, image in enumerate(found):
                if image == NOT_ASKED:
                    found[place] = known[numbers[place]] = self._find(numbers[place])
        return found

    def _find(self, number: int) -> int:
        to, in_play = self.renaming.to, self.clauses
        words = tuple([(to[variable], mask) for variable, mask in in_play.clauses[number]])
        found = -1
        if all(variable >= 0 for variable, _ in words):
            for other in in_play.over([variable for variable, _ in words]):
                if in_play.standing[other] and in_play.clauses[other] == words:
                    if (other < self.stated) == (number < self.stated):
                        return other
                    found = max(found, other)
        return found


class Further:
    """Clauses that are to be shown along a line.

    first: those to be examined. next: of some clauses the one a stretch further on, as long as it
        is to be shown.
    """

    def __init__(self, line: Recurring, first: array[int], next_: dict[int, int]) -> None:
        self.line = line
        self.first = first
        self.next = next_
        self._shown: dict[int, _Shown] = {}

    def note(self, found: Findings) -> None:
        """Note what was found of clauses after which others come."""
        shown, next_ = self._shown, self.next
        for places in found.shapes.values():
            for goal, event in zip(places[::2], places[1::2], strict=True):
                if goal in next_:
                    its = shown.setdefault(goal, _Shown())
                    its.count += 1
                    if event == IN_ANY_STATE and its.in_any_state is None:
                        its.in_any_state = []
        for goal, event, group in found.leans():
            if goal in next_:
                its = shown.setdefault(goal, _Shown())
                its.helping += group
                if event == IN_ANY_STATE:
                    its.in_any_state = [*(its.in_any_state or ()), *group]

    def taken_over(self) -> Findings:
        """What may be taken over of what was noted, when the solver has decided. Where it may not,
        the next clause is among the first from then on."""
        taken = Findings()
        first = array("i")
        for begin in self.first:
            goal = begin
            while goal in self.next:
                its, after = self._shown.pop(goal, None), self.next.pop(goal)
                if its is not None and goal == begin:
                    its.helping = [*dict.fromkeys(its.helping)]
                renamed = None if its is None else self._renamed(goal, its, after)
                if renamed is None:
                    first.append(after)
                    break
                follows = renamed.in_any_state is not None
                taken.take_over(after, renamed.count, renamed.helping, in_any_state=follows)
                self._shown[after] = renamed
                goal = after
        self.first = first
        return taken

    def left(self) -> Iterator[int]:
        """All that is still to be examined."""
        yield from self.first
        yield from self.next.values()

    def _renamed(self, goal: int, its: _Shown, after: int) -> _Shown | None:
        """What was shown of a clause, for the one a stretch further on."""
        line = self.line
        if not line.clauses.standing[goal]:
            return None
        helping = line.images(its.helping)
        if -1 in helping:
            return None
        in_any_state = its.in_any_state
        if in_any_state is not None:
            in_any_state = line.images(in_any_state)
            if after >= line.stated or any(number < line.stated for number in in_any_state):
                return None
        return _Shown(its.count, helping, in_any_state)
