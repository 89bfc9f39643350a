"""The proof of a railway, revised where it has changed.

What was shown of the last machine is a set of clauses that is inductive: all of them are true at
the start, and no event makes one false in a state in which all are true. Of each clause it is
remembered which others helped to show it. A machine in which little is otherwise has nearly all
of these clauses and events yet, and then nearly all of what there is to be shown of it was shown.

A variable is *as it was* if it has the same values and starts. An event or a clause is, if it says
the same and names only variables that are; that is soon seen, as machines that are built one after
the other share what is equal in them (`machine/sharing.py`). A clause *stays shown* if it was
shown, is as it was, and so are all that helped. To be shown are

- invariants that do not stay shown, and clauses that were shown with the help of one that is gone:
  after every event that could make them false, and at the start;
- clauses that stay shown and could become false by an event that is not as it was: after those.

For this the ordinary prover is given a part of the machine: these clauses, every event that could
make one of them false where it has to be shown, and all clauses over the variables of those. What
it brings in as help and does not stay shown it has to show after every event that could make that
false, so these events are in the part as well.

Then the clauses that stay shown and those that the part was shown to keep are inductive together.
Take one of them and an event that could make it false. If clause and event are as they were, and
the clause stays shown, then it was shown by clauses all of which are here, with the event's own
words. If not, then it was shown now, by clauses of the part. What holds at the start is about the
variables of a clause alone. That clauses follow from each other in a circle, where it was shown of
one then and of another now that it follows in any state (`examine.py`), cannot be: what follows so
is an invariant, and follows from lemmas, or follows from a clause that says more, or that says as
much and comes earlier; and clauses that are as they were are looked for in the order that they had.

If anything of this cannot be shown, nothing is said, and the machine is proved as a whole. So what
is revised can only be `proved`.
"""

from __future__ import annotations

from array import array
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import compress, count

from bellcrank.machine.machine_model import Clause, Event, Machine
from bellcrank.proof.moving.examine import Examiner
from bellcrank.proof.moving.induction import Induction, Prover, Round, Solve, helping_in
from bellcrank.running.packed import Packed

LEAST = 2_000
"""Clauses of a machine from which on its proof is remembered to be revised."""

PART = 0.1
"""The share of all clauses that a part has at most. Where a change touches more, as in one large
station, `event_by_event.py` looks closer."""


class Remembered:
    """A proof, and what is looked up in it to revise it.

    machine: what it is of. Its clauses are known by their numbers, invariants first.
    helping: for each clause that was shown, those that helped.
    numbers: of the clauses, invariants and lemmas apart, by their identities; of several that are
        the same object in order.
    leaning: for each clause those that it helped. naming: for each variable the clauses that
        name it. named_by, changed_by: for each the names of events that name and that change it.
    events: the events by their names.
    """

    def __init__(self, machine: Machine, helping: Mapping[int, Sequence[int]]) -> None:
        self.machine = machine
        self.helping = helping
        self.clauses = machine.clauses
        self.numbers: tuple[dict[int, list[int]], dict[int, list[int]]] = (
            defaultdict(list),
            defaultdict(list),
        )
        self.naming: dict[str, list[int]] = defaultdict(list)
        for number, clause in enumerate(self.clauses):
            self.numbers[number >= len(machine.invariants)][id(clause)].append(number)
            for name in {literal.variable for literal in clause}:
                self.naming[name].append(number)
        self.leaning: dict[int, list[int]] = defaultdict(list)
        for number, helped in helping.items():
            for other in helped:
                self.leaning[other].append(number)
        self.events = {event.name: event for event in machine.events}
        self.named_by: dict[str, list[str]] = defaultdict(list)
        self.changed_by: dict[str, list[str]] = defaultdict(list)
        for event in machine.events:
            for name in names_in(event):
                self.named_by[name].append(event.name)
            for name in event.updates:
                self.changed_by[name].append(event.name)


@dataclass(slots=True)
class LastProof:
    """Remembers the last proof of a machine, if all was shown. What is to be remembered is
    only noted until `settle` is called: a verdict is told first.

    least: clauses from which on a proof is remembered. most: the share of them that may have to be
    looked at to revise it.
    """

    least: int = LEAST
    most: float = PART
    remembered: Remembered | None = None
    later: Callable[[], Remembered] | None = None

    def note(self, machine: Machine, induction: Induction, rounds: Sequence[Round]) -> None:
        """Note an induction over a machine alone."""
        if len(machine.invariants) + len(machine.lemmas) > self.least and not induction.failed:
            self.later = partial(_all_shown, machine, induction, rounds)

    def settle(self) -> None:
        """Remember what was noted."""
        if self.later is not None:
            self.remembered, self.later = self.later(), None


def names_in(event: Event) -> set[str]:
    """The variables that an event names."""
    return {literal.variable for clause in event.guard for literal in clause}.union(event.updates)


@dataclass(frozen=True, slots=True)
class Revised:
    """A proof that was revised.

    part: the machine that was proved anew; its clauses and obligations have its own numbers.
    induction: the one over it. kept: how many clauses stay shown and were not looked at.
    shown: of each clause of the whole machine whether it was shown, now or then.
    later: what there is to remember.
    """

    part: Machine
    packed: Packed
    induction: Induction
    kept: int
    shown: bytearray
    later: Callable[[], Remembered]


def revise(
    machine: Machine, last: LastProof, solve: Solve, deadline: float | None = None
) -> Revised | None:
    """Revise the last proof to be one of a machine; None if that cannot be done."""
    if last.remembered is None:
        return None
    return _Revision(machine, last.remembered, last.most).run(solve, deadline)


@dataclass(slots=True)
class _Revision:
    """A revision in progress. Numbers are those of the machine now, but where it is said.

    otherwise: the variables that are not as they were.
    new: events that are not. numbers: of events, by name.
    place: for each clause then its number now; -1 if there is none.
    stays: the clauses that stay shown, but for those that lean on one that is gone, with their
        numbers then; -1 for the others.
    leaning: those that do. strange: clauses of which there was none that says the same.
    """

    machine: Machine
    last: Remembered
    most: float
    clauses: Sequence[Clause] = field(init=False)
    stated: int = field(init=False)
    otherwise: set[str] = field(init=False)
    new: set[int] = field(init=False)
    numbers: dict[str, int] = field(init=False)
    place: array[int] = field(init=False)
    stays: array[int] = field(init=False)
    leaning: set[int] = field(init=False)
    strange: list[int] = field(default_factory=list)
    changed_by_new: dict[str, list[int]] = field(default_factory=lambda: defaultdict(list))

    def __post_init__(self) -> None:
        before = self.last.machine.variables
        self.clauses = self.machine.clauses
        self.stated = len(self.machine.invariants)
        self.otherwise = {n for n, v in self.machine.variables.items() if before.get(n) != v}
        self._compare_events()
        self._compare_clauses()

    # ------------------------------------------------------- what is as it was

    def _compare_events(self) -> None:
        last = self.last
        unlike = {name for variable in self.otherwise for name in last.named_by[variable]}
        self.numbers, self.new = {}, set()
        for number, event in enumerate(self.machine.events):
            name = event.name
            self.numbers[name] = number
            known = last.events.get(name)
            # What is shared is the same object, and Python sees that at once.
            if (
                known is None
                or known.guard != event.guard
                or known.updates != event.updates
                or name in unlike
            ):
                self.new.add(number)
                for variable in event.updates:
                    self.changed_by_new[variable].append(number)

    def _compare_clauses(self) -> None:
        last = self.last
        unlike = {number for variable in self.otherwise for number in last.naming[variable]}
        self.place = array("i", [-1]) * len(last.clauses)
        self.stays = array("i", [-1]) * len(self.clauses)
        invariants, lemmas = last.numbers
        after = -1
        for number, clause in enumerate(self.clauses):
            of = invariants if number < self.stated else lemmas
            known = of.get(id(clause), ())
            for then in known:
                if then > after:
                    break
            else:
                self.strange.append(number)
                continue
            after = then
            self.place[then] = number
            if then in last.helping and then not in unlike:
                self.stays[number] = then
        place, stays = self.place, self.stays
        gone = [n for n in last.helping if place[n] < 0 or stays[place[n]] < 0]
        self.leaning = {
            place[other]
            for number in gone
            for other in last.leaning[number]
            if place[other] >= 0 and stays[place[other]] >= 0
        }
        for number in self.leaning:
            stays[number] = -1

    # ------------------------------------------------------------- which part

    def _changing(self, variable: str) -> Iterator[int]:
        """The events that change a variable."""
        numbers, new = self.numbers, self.new
        for name in self.last.changed_by[variable]:
            number = numbers.get(name, -1)
            if number >= 0 and number not in new:
                yield number
        yield from self.changed_by_new[variable]

    def _threatening(self, clause: Clause) -> Iterator[int]:
        """The events that could make a clause false."""
        events = self.machine.events
        for literal in clause:
            for number in self._changing(literal.variable):
                if _leaves(events[number], literal.variable, literal.values):
                    yield number

    def _threatened(self, number: int) -> Iterator[int]:
        """The clauses that stay shown that an event could make false."""
        event = self.machine.events[number]
        for variable in event.updates:
            for then in self.last.naming[variable]:
                goal = self.place[then]
                if goal >= 0 and self.stays[goal] >= 0:
                    for literal in self.clauses[goal]:
                        if literal.variable == variable and _leaves(
                            event, variable, literal.values
                        ):
                            yield goal
                            break

    def _over(self, variables: set[str]) -> Iterator[int]:
        """The clauses over some variables and no others."""
        known = {self.place[then] for name in variables for then in self.last.naming[name]}
        for number in (*known, *self.strange):
            if number >= 0 and all(x.variable in variables for x in self.clauses[number]):
                yield number

    def run(self, solve: Solve, deadline: float | None) -> Revised | None:
        anew = {n for n in range(self.stated) if self.stays[n] < 0} | self.leaning
        most = self.most * len(self.clauses)
        if len(anew) > most:
            return None
        goals = anew.union(*map(self._threatened, self.new))
        events = self.new.union(*(self._threatening(self.clauses[n]) for n in anew))
        variables = {x.variable for n in goals for x in self.clauses[n]}
        variables.update(*(names_in(self.machine.events[n]) for n in events))
        among = sorted(goals.union(self._over(variables)))
        if len(among) > most:
            return None
        open_ = [n for n in among if self.stays[n] < 0]
        events = events.union(*(self._threatening(self.clauses[n]) for n in open_))
        variables.update(*(names_in(self.machine.events[n]) for n in events))
        return self._prove(goals, among, sorted(events), variables, solve, deadline)

    def _prove(
        self,
        goals: set[int],
        among: Sequence[int],
        events: Sequence[int],
        variables: set[str],
        solve: Solve,
        deadline: float | None,
    ) -> Revised | None:
        whole = self.machine
        part = replace(
            whole,
            variables={name: v for name, v in whole.variables.items() if name in variables},
            events=tuple([whole.events[n] for n in events]),
            invariants=tuple([whole.invariants[n] for n in among if n < self.stated]),
            wishes=(),
            lemmas=tuple([self.clauses[n] for n in among if n >= self.stated]),
        )
        packed = Packed(part)
        examiner = Examiner(packed)
        as_they_were = {place for place, n in enumerate(events) if n not in self.new}
        examiner.spared = {
            place: as_they_were for place, n in enumerate(among) if self.stays[n] >= 0
        }
        prover = Prover(examiner, solve, deadline=deadline)
        induction = prover.run([place for place, n in enumerate(among) if n in goals])
        for place, n in enumerate(among):
            if not induction.held[place] and (n in goals or self.stays[n] >= 0):
                return None
        shown = bytearray(then >= 0 for then in self.stays)
        kept = sum(shown)
        for place in compress(count(), induction.demanded):
            if induction.held[place]:
                kept -= shown[among[place]]
                shown[among[place]] = True

        def later() -> Remembered:
            return Remembered(whole, self._helping(helping_in(prover.rounds), among, shown))

        return Revised(part, packed, induction, kept, shown, later)

    def _helping(
        self, found: Mapping[int, set[int]], among: Sequence[int], shown: bytearray
    ) -> dict[int, Sequence[int]]:
        """What helped with each clause that was shown, then and now."""
        last, place = self.last, self.place
        helping: dict[int, Sequence[int]] = {
            number: [place[other] for other in last.helping[then]]
            for number, then in enumerate(self.stays)
            if then >= 0
        }
        for at, others in found.items():
            number = among[at]
            if shown[number]:
                now = {among[other] for other in others}
                helping[number] = sorted(now.union(helping.get(number, ())))
        return helping


def _all_shown(machine: Machine, induction: Induction, rounds: Sequence[Round]) -> Remembered:
    """What there is to remember of an induction over a machine alone."""
    found = helping_in(rounds)
    both = zip(induction.held, induction.demanded, strict=True)
    return Remembered(machine, {n: tuple(found[n]) for n, (h, d) in enumerate(both) if h and d})


def _leaves(event: Event, variable: str, values: frozenset[str]) -> bool:
    """Whether an event could take a variable out of some values."""
    return any(old in values and new not in values for old, new in event.updates[variable].items())
