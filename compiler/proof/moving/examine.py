"""The obligations of a clause: one for each event that could make it false.

The weakest precondition of the clause under the event has to follow from the guard and
other clauses that stand (relative induction, as in A. R. Bradley, "SAT-based model
checking without unrolling", 2011). Where the guard alone or one clause is enough, that is
looked up; for what is left, which other clauses help is searched for. Either way a solver
decides the shape of what was brought together, so a bad choice could only leave something
open; that a shape which is looked up is the right one, `there_are` says in `shapes.py`.

Reads the packed machine and which clauses stand; solves nothing. So many clauses can be
examined side by side, by several processes or machines.
"""

from __future__ import annotations

import time
from array import array
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from bellcrank.machine.machine_model import VariableKind
from bellcrank.proof.moving.clauses_in_play import ClausesInPlay
from bellcrank.proof.moving.findings import IN_ANY_STATE, START, Finding, Findings
from bellcrank.proof.moving.own_names import false_after, own_question
from bellcrank.proof.moving.propagation import GOAL, GUARD, AtEvent, Core, Numbered, Propagation
from bellcrank.proof.moving.shapes import Shape, shape_of, there_are
from bellcrank.proof.moving.symmetry import NEVER, Kind, Kinds
from bellcrank.proof.moving.trails import Trails
from bellcrank.proof.moving.ways_out import WaysOut
from bellcrank.running.packed import Literal, Packed, PackedClause, PackedEvent, before

FEW = 3
"""Variables in a clause, up to which it is looked for whether another implies it."""

FARTHER = 3
"""Variables beside its own that are looked at to see whether an invariant follows from
lemmas."""

NEARBY = 6
"""The same, to see whether the guard and few clauses keep a goal true."""

OFTEN = 64
"""Clauses or events after which others are told."""

FAILED = 3
"""Clauses of one event for which a search nearby finds nothing, before the others are left to
one that goes farther, too."""

IN_VAIN = 8
"""Invariants over variables of the same kinds that no lemmas imply, when none was found that
lemmas do imply, after which it is not asked of others: what shows them is found at each event."""

Key = tuple[object, ...]
"""What decides the shape of a few clauses: how they are made, and what `there_are` says."""

Tell = Callable[[int], None]
"""Told how many clauses have been examined."""


@dataclass(frozen=True, slots=True)
class Place:
    """An event, its kind, and its variables by slot: none if it is alone of its kind."""

    event: PackedEvent
    kind: Kind
    slots: list[int]


class Examiner:
    """States the obligations of the clauses of a packed machine.

    clauses: those of the machine, and then `further` ones.
    thorough: whether an obligation for which no contradiction was found is stated
        with everything near it, or not at all.
    own_names: whether an obligation that takes over what helps from one that is alike is
        stated by its own names, or by the shape of that one.
    """

    def __init__(
        self,
        packed: Packed,
        further: Sequence[PackedClause] = (),
        *,
        thorough: bool = False,
        own_names: bool = False,
    ) -> None:
        self.packed = packed
        self.further = further
        self.thorough = thorough
        self.own_names = own_names
        self.clauses = ClausesInPlay(len(packed.full), (*packed.clauses, *further), packed.stated)
        self.kinds = Kinds(packed, self.clauses)
        self._ways_out = WaysOut(packed)
        self.shapes: list[Shape] = []
        self._shape_numbers: dict[Shape, int] = {}
        self._guarded: set[int] = set()
        self._by_sets: dict[Key, int] = {}
        self._any_state = AtEvent(packed, self.clauses, None)
        self._never: dict[int, tuple[int, list[int]]] = {}
        self._follows: dict[int, tuple[int, list[int]] | None] = {}
        self._in_vain: Counter[Sequence[VariableKind]] = Counter()
        self._implied: set[Sequence[VariableKind]] = set()
        self.spared: dict[int, set[int]] = {}
        """Of some clauses the events of which it is known that they leave them true."""

    def examine(
        self,
        goals: Iterable[int],
        deadline: float | None = None,
        tell: Tell | None = None,
    ) -> Findings:
        """The obligations of some clauses.

        deadline: a time of the monotonic clock at which to leave the rest.
        tell: told again and again how many are done; who is told may see to other work.
        """
        finding = Finding()
        found = finding.findings
        threats: dict[int, list[int]] = defaultdict(list)
        late = False
        for goal in goals:
            if found.examined % OFTEN == 0:
                late = deadline is not None and time.monotonic() > deadline
                if tell is not None:
                    tell(0)
            found.examined += 1
            if late:
                found.left.append(goal)
                continue
            for event in self._at_once(goal, finding):
                threats[event.number].append(goal)
        self._at_events(threats, finding, deadline, tell)
        self._follows.clear()  # for the goals of another time are others
        return finding.close(self.shapes, self._guarded)

    def before(
        self, premises: Mapping[int, Sequence[int]], deadline: float | None = None
    ) -> Findings:
        """The obligations that some clauses are true whenever the event of a number is possible:
        events that change nothing, after which all is as before them."""
        finding = Finding()
        self._at_events(premises, finding, deadline, None)
        return finding.close(self.shapes, self._guarded)

    def _at_events(
        self,
        threats: Mapping[int, Sequence[int]],
        finding: Finding,
        deadline: float | None,
        tell: Tell | None,
    ) -> None:
        """State the obligations of some clauses at each of some events."""
        found = finding.findings
        given_up: set[int] = set()
        done = 0
        for number, threatened in threats.items():
            if tell is not None and done % OFTEN == 0:
                tell(found.examined * done // len(threats))
            done += 1
            if deadline is not None and time.monotonic() > deadline:
                found.left += [goal for goal in threatened if goal not in given_up]
                given_up.update(threatened)
                continue
            self._at_event(self.packed.events[number], list(threatened), finding)

    def _shape(self, clauses: Iterable[PackedClause]) -> int:
        """The number of the shape of clauses that are to be true together."""
        shape = shape_of(list(clauses), self.packed.full)
        number = self._shape_numbers.get(shape)
        if number is None:
            number = self._shape_numbers[shape] = len(self.shapes)
            self.shapes.append(shape)
        return number

    def _shape_of_core(self, core: Core) -> int:
        """The number of the shape of a core at an event, and note whether more of the guard is in
        it than what it says of single variables."""
        shape = self._shape(clause for _, clause in core)
        if any(number == GUARD and len(clause) > 1 for number, clause in core):
            self._guarded.add(shape)
        return shape

    def _own_shape(self, event: PackedEvent, goal: int | None, helping: Iterable[int]) -> int:
        """The number of the shape of an obligation by its own names."""
        clauses = self.clauses.clauses
        mine = None if goal is None else clauses[goal]
        return self._shape(
            own_question(event, mine, [clauses[n] for n in helping], self.packed.full)
        )

    # ---------------------------------------------------- what takes no search

    def _at_once(self, goal: int, finding: Finding) -> list[PackedEvent]:
        """State the obligation at the start, and others that take no search; the events
        that are left."""
        full, starts = self.packed.full, self.packed.start
        clause = self.clauses.clauses[goal]
        key = ("start", *[there_are(full[v], starts[v], full[v] & ~mask) for v, mask in clause])
        shape = self._by_sets.get(key)
        if self.own_names or shape is None:
            start = [((v, starts[v]),) for v, _ in clause]
            shape = self._by_sets[key] = self._shape([*start, *self._away(clause)])
        finding.state(shape, goal, START)
        stronger = self._stronger(goal)
        if stronger is not None:
            shape = self._of_stronger(self.clauses.clauses[stronger], clause)
            finding.all_by(shape, [stronger], [goal], IN_ANY_STATE)
            return []
        return self._threats(goal, clause, finding)

    def _away(self, clause: PackedClause) -> list[PackedClause]:
        """That a clause is false, as clauses."""
        return [((v, self.packed.full[v] & ~mask),) for v, mask in clause]

    def _stronger(self, goal: int) -> int | None:
        """A clause from which this one follows at once: each of its literals is within
        one of this."""
        stated = self.packed.stated
        clauses = self.clauses.clauses
        clause = clauses[goal]
        if len(clause) > FEW:
            return None
        for number in self.clauses.implying(clause):
            # Of two that are alike the later one follows from the earlier, and an
            # invariant from a lemma, but no lemma from an invariant.
            if number == goal or goal >= stated > number:
                continue
            lemma = number >= stated > goal
            if lemma or number < goal or dict(clauses[number]) != dict(clause):
                return number
        return None

    def _of_stronger(self, other: PackedClause, clause: PackedClause) -> int:
        """The shape of a clause that is true and one that follows from it but is false."""
        full, its = self.packed.full, dict(other)
        variables = [v for v, _ in clause]
        key: Key = (
            "stronger",
            tuple([variables.index(v) for v in its]),
            tuple([there_are(full[v], its.get(v, full[v]), full[v] & ~m) for v, m in clause]),
        )
        shape = self._by_sets.get(key)
        if self.own_names or shape is None:
            shape = self._by_sets[key] = self._shape([other, *self._away(clause)])
        return shape

    def _by_lemmas(self, goal: int) -> tuple[int, list[int]] | None:
        """The shape and the lemmas from which an invariant follows in any state, whatever
        the events; None if it does not. No lemma follows from an invariant in this way, so
        nothing is shown in a circle."""
        if goal >= self.packed.stated:
            return None
        if goal not in self._follows or not self._stand(self._follows[goal]):
            clause = self.clauses.clauses[goal]
            self._follows[goal] = None
            kinds = tuple([self.packed.kinds[v] for v, _ in clause])
            if self._in_vain[kinds] >= IN_VAIN and kinds not in self._implied:
                return None
            away: list[Numbered] = [(GOAL, c) for c in self._away(clause)]
            core = Propagation(self._any_state).refute_nearby(away, FARTHER)
            if core is None:
                self._in_vain[kinds] += 1
            else:
                self._implied.add(kinds)
                self._follows[goal] = (self._shape(c for _, c in core), _helping(core))
        return self._follows[goal]

    def _stand(self, shown: tuple[int, list[int]] | None) -> bool:
        """Whether the clauses that help still stand. Where nothing helped before, nothing
        does now: clauses are only struck out."""
        return shown is None or all(self.clauses.standing[number] for number in shown[1])

    def _threats(self, goal: int, clause: PackedClause, finding: Finding) -> list[PackedEvent]:
        """Of the events that move a variable of a clause out of the values it names, state
        those that the guard alone keeps from making it false; the others."""
        full = self.packed.full
        seen = set(self.spared.get(goal, ()))
        left = []
        for literal in clause:
            others = [other for other in clause if other is not literal]
            for event, allowed in self._ways_out.of(literal):
                if event.number in seen:
                    continue
                seen.add(event.number)
                for variable, mask in others:
                    known = allowed.get(variable)
                    if known is None:
                        continue
                    away = full[variable] & ~before(event, variable, mask)
                    if not known & away:
                        shape = self._plain(variable, away, known, full[variable])
                        finding.state(shape, goal, event.number)
                        break
                else:
                    left.append(event)
        return left

    def _plain(self, variable: int, away: int, allowed: int, values: int) -> int:
        """The shape where the guard allows a variable none of the values that it would
        have to have."""
        key = ("plain", there_are(values, away, allowed))
        shape = self._by_sets.get(key)
        if self.own_names or shape is None:
            shape = self._shape([((variable, away),), ((variable, allowed),)])
            self._by_sets[key] = shape
        return shape

    # ------------------------------------------------------- what takes a search

    def _at_event(self, event: PackedEvent, goals: list[int], finding: Finding) -> None:
        """State the obligations of some clauses at one event, as at another like it, or
        after a search."""
        place = Place(event, *self.kinds.of(event))
        never = self._known_never(place)
        if never is None and self.packed.accident[event.number]:
            # It should not be possible at all, whatever would become false by it.
            at = AtEvent(self.packed, self.clauses, event)
            never = self._note_never(place, Propagation(at).refute(at.units))
        if never is not None:
            self._take_over(never, event, None, goals, finding)
            return
        anew = []
        for goal in self._by_one_literal(event, goals, finding):
            shown = self._known(place, goal)
            if shown is None:
                follows = self._by_lemmas(goal)
                if follows is None:
                    anew.append(goal)
                else:
                    finding.all_by(*follows, [goal], IN_ANY_STATE)
                continue
            self._take_over(shown, event, goal, [goal], finding)
        if anew:
            self._anew(place, anew, finding)

    def _by_one_literal(
        self, event: PackedEvent, goals: Sequence[int], finding: Finding
    ) -> list[int]:
        """State the obligations of the clauses that an event leaves true because it leaves one
        of their literals true; the other clauses.

        Many clauses at an event have a literal in common, which is looked at once for all.
        """
        known: dict[Literal, tuple[int, list[int]] | None] = {}
        by: dict[Literal, list[int]] = {}
        left = []
        clauses = self.clauses.clauses
        for goal in goals:
            best = None
            for literal in clauses[goal]:
                if literal not in known:
                    known[literal] = self._left_true(event, literal)
                if known[literal] is not None:
                    best = literal
                    break
            if best is None:
                left.append(goal)
            else:
                by.setdefault(best, []).append(goal)
        for literal, alike in by.items():
            shown = known[literal]
            assert shown is not None
            for some in [[goal] for goal in alike] if self.own_names else [alike]:
                self._take_over(shown, event, some[0], some, finding)
        return left

    def _left_true(self, event: PackedEvent, literal: Literal) -> tuple[int, list[int]] | None:
        """What shows that a literal is true after an event: it is so in any case, or one clause
        of two literals says so with one condition of the guard. Of most obligations of a large
        station that is so, and it takes no search.

        The clause may be any that stands: it takes part as one that holds before the event.
        """
        variable, mask = literal
        values = self.packed.full[variable]
        away = values & ~before(event, variable, mask)
        if not away:
            return self._plain(variable, away, values, values), []
        found = self.clauses.excluding(variable, away, event.conditions)
        if found is None:
            return None
        number, condition = found
        return self._of_three((variable, away), condition, number), [number]

    def _of_three(self, fact: Literal, condition: Literal, number: int) -> int:
        """The shape of a fact, a condition and a clause that is false if both are true."""
        full, clause = self.packed.full, self.clauses.clauses[number]
        (variable, away), (other, known) = fact, condition
        (first, left), (_, right) = clause
        if first != variable:
            left, right = right, left
        key = (
            "by one clause",
            first == variable,
            there_are(full[variable], away, left),
            there_are(full[other], known, right),
        )
        shape = self._by_sets.get(key)
        if self.own_names or shape is None:
            shape = self._by_sets[key] = self._shape([(fact,), (condition,), clause])
        return shape

    def _take_over(
        self,
        shown: tuple[int, list[int]],
        event: PackedEvent,
        goal: int | None,
        goals: list[int],
        finding: Finding,
    ) -> None:
        """State the obligations of clauses at an event by the shape and the helping clauses
        of one that is alike, or by their own names.

        goal: the clause that they are about; None if the event never happens.
        """
        shape, helping = shown
        if self.own_names:
            shape = self._own_shape(event, goal, helping)
        finding.all_by(shape, helping, goals, event.number)

    def _known_never(self, place: Place) -> tuple[int, list[int]] | None:
        """What has shown that an event, or one like it, never happens."""
        known = self._never.get(place.event.number)
        if known is not None and self._stand(known):
            return known
        if not place.slots:
            return None
        known = self.kinds.known(place.kind, NEVER, place.slots)
        if known is not None:
            self._never[place.event.number] = known
        return known

    def _note_never(self, place: Place, core: Core | None) -> tuple[int, list[int]] | None:
        """What shows that an event never happens, and note it for others like it; None without
        clauses that contradict its guard."""
        if core is None:
            return None
        shape, helping = self._shape_of_core(core), _helping(core)
        self._never[place.event.number] = shape, helping
        if place.slots and place.kind.comes_again(NEVER):
            place.kind.remember(NEVER, self.kinds.recipe(shape, helping, place.slots))
        return shape, helping

    def impossible(self) -> Iterator[tuple[int, Shape, list[int], bool]]:
        """The events that never happen if a shape has no solution: with that, the clauses that
        help, and whether more of the guard does than what it says of single variables."""
        for event, (shape, helping) in self._never.items():
            yield event, self.shapes[shape], helping, shape in self._guarded

    def _known(self, place: Place, goal: int) -> tuple[int, list[int]] | None:
        """What has shown a goal like this one at an event like this one."""
        if not place.slots:
            return None
        likeness, own = self.kinds.goal(self.clauses.clauses[goal], place.slots)
        return self.kinds.known(place.kind, likeness, own)

    def _anew(self, place: Place, goals: list[int], finding: Finding) -> None:
        """State the obligations of some clauses at one event after a search, and
        remember what came of it."""
        event = place.event
        at = AtEvent(self.packed, self.clauses, event)
        trails = Trails(self.packed)
        left = goals
        if not self.packed.accident[event.number]:
            # Most follow from little: from the goal, and what the guard says outright.
            guard = Propagation(at)
            guard.take(at.units)
            left = self._one_by_one(place, goals, guard, finding, trails, nearby=NEARBY)
        if not left:
            return
        known = Propagation(at)
        never = self._note_never(place, known.refute_nearby(at.units))
        if never is not None:
            finding.all_by(*never, left, event.number)
            return
        for goal in self._one_by_one(place, left, known, finding, trails):
            if self.thorough:
                core = known.branch().wide([*self._facts(goal, event), *at.units])
                shape = self._shape_of_core(core)
                finding.all_by(shape, _helping(core), [goal], event.number)
            else:
                finding.findings.count += 1
                finding.findings.nothing.append((goal, event.number))

    def _one_by_one(
        self,
        place: Place,
        goals: list[int],
        known: Propagation,
        finding: Finding,
        trails: Trails,
        nearby: int | None = None,
    ) -> list[int]:
        """State the obligations of some clauses at one event, each after a search that goes
        out from what is known before it; the clauses for which that found nothing, or which
        were left when it had found nothing several times.

        nearby: at how many variables to look beside those of the goal; None for all.
        """
        event = place.event
        alone: dict[int, list[_Alone]] = {}
        left: list[int] = []
        for done, goal in enumerate(goals, 1):
            facts = self._facts(goal, event)
            shown = _by_one(facts, alone)
            if shown is not None:
                self._take_over((shown.shape, shown.helping), event, goal, [goal], finding)
                continue
            core = trails.retrace(facts, known)
            if core is None:
                core = _searched(facts, known, nearby)
                if core is not None:
                    trails.remember(facts, core)
            if core is None:
                left.append(goal)
                if nearby is not None and len(left) == FAILED:
                    return [*left, *goals[done:]]
                continue
            shape, helping = self._shape_of_core(core), _helping(core)
            of_goal = [clause for number, clause in core if number == GOAL]
            if len(of_goal) == 1:
                ((variable, mask),) = of_goal[0]
                alone.setdefault(variable, []).append(_Alone(mask, shape, helping))
            if place.slots:
                likeness, own = self.kinds.goal(self.clauses.clauses[goal], place.slots)
                if place.kind.comes_again(likeness):
                    place.kind.remember(likeness, self.kinds.recipe(shape, helping, own))
            finding.all_by(shape, helping, [goal], event.number)
        return left

    def _facts(self, goal: int, event: PackedEvent) -> list[Numbered]:
        """That a goal is false after an event."""
        clause = self.clauses.clauses[goal]
        return [(GOAL, fact) for fact in false_after(event, clause, self.packed.full)]


def chunks_along(examiner: Examiner, goals: Sequence[int], count: int) -> list[array[int]]:
    """At most so many chunks of clauses that lie near each other on the railway: what is found
    out about an event serves for all clauses of a chunk."""
    size = max(1, -(-len(goals) // count)) if count else 1
    clauses, along = examiner.clauses.clauses, examiner.packed.along
    near = array("i", sorted(goals, key=lambda goal: along(clauses[goal])))
    return [near[i : i + size] for i in range(0, len(near), size)]


@dataclass(frozen=True, slots=True)
class _Alone:
    """That before an event a variable has none of some values, with a shape and clauses to
    show it: then no clause becomes false for which it would need one of them."""

    mask: int
    shape: int
    helping: list[int]


def _by_one(facts: list[Numbered], alone: dict[int, list[_Alone]]) -> _Alone | None:
    """What is known of one variable alone that contradicts the facts; None if nothing is."""
    for _, ((variable, mask),) in facts:
        for known in alone.get(variable, ()):
            if not mask & ~known.mask:
                return known
    return None


def _searched(facts: list[Numbered], known: Propagation, nearby: int | None) -> Core | None:
    """Clauses that cannot be true together with some facts, by a search near them or in all."""
    search = known.branch()
    return search.refute(facts) if nearby is None else search.refute_nearby(facts, nearby)


def _helping(core: Core) -> list[int]:
    """The clauses of a core that are neither goal nor guard, by number."""
    return [number for number, _ in core if number >= 0]
