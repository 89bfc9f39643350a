"""Induction that takes over what was shown before.

A clause whose key is known, and whose helping clauses are all here and stand, is not examined:
its obligations are those that were answered then, word for word (`contents.py`). Everything else
goes on as in `Prover`: the helping clauses have to be shown in their turn, and when one of them
is struck out, the clause is examined as any other, for what was kept no longer says anything of
it.

Two clauses might be taken to follow from each other, one of them by what was kept and the other
by what is found now, if they follow in any state whatever; by induction this cannot be, for there
the one is about the state before an event and the other about the state after it. What follows in
any state follows from an earlier or a smaller clause, or is an invariant that follows from lemmas
(`examine.py`). Whether a clause is earlier than another may be otherwise in another machine, so
of what follows in any state only invariants that follow from lemmas are kept, and taken over only
where they are that: no lemma follows from an invariant in this way, so there is no circle.
"""

from __future__ import annotations

from array import array
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import compress, count
from typing import Any

from bellcrank.proof.kept.contents import Asked, Contents, key_of_shape, numbers_of
from bellcrank.proof.kept.event_by_event import (
    AtEvents,
    Following,
    Helping,
    LastInduction,
    ShownAtEvents,
    Taken,
    Wholly,
    wholly,
)
from bellcrank.proof.kept.kept_model import Kept, Shown
from bellcrank.proof.moving.asked_along import NO_PREMISES, Premises
from bellcrank.proof.moving.findings import IN_ANY_STATE, Findings
from bellcrank.proof.moving.induction import Induction, Prover, Solve
from bellcrank.proof.moving.shapes import Shape

FINELY = 20_000
"""Clauses of a machine up to which what was shown is also kept of each thing apart that could make
a clause false. In one large station a change touches a few of what could make most clauses false;
along a line of stations it touches all of that of a few clauses."""


@dataclass(slots=True)
class KeptAnswers:
    """Asks a solver only what is not known to have no solution.

    asking: what decides the others.
    """

    asking: Solve
    kept: Kept
    method: str

    def __call__(self, shapes: Sequence[Shape]) -> list[str]:
        """An answer for each shape."""
        keys = [key_of_shape(shape, self.method) for shape in shapes]
        known = self.kept.known(keys)
        open_ = [shape for shape, key in zip(shapes, keys, strict=True) if key not in known]
        answers = dict(zip(open_, self.asking(open_), strict=True))
        self.kept.keep(
            [
                (key, Shown(1))
                for shape, key in zip(shapes, keys, strict=True)
                if answers.get(shape) == "unsat"
            ]
        )
        return [answers.get(shape, "unsat") for shape in shapes]


@dataclass(slots=True)
class _Goal:
    """What was found of a clause when it was examined last.

    count: obligations. helping: all clauses that helped. at: those that helped at each event.
    in_any_state: whether it follows from others in any state, at some events or all.
    guarded: the events at which more of the guard took part than what it says of single variables.
    """

    count: int = 0
    helping: set[int] = field(default_factory=set)
    at: dict[int, Sequence[int]] = field(default_factory=dict)
    in_any_state: bool = False
    guarded: set[int] = field(default_factory=set)


class KeptProver(Prover):
    """Shows clauses by induction, with what was shown before.

    contents: of the machine that is proved.
    last: where this induction is remembered, and the one before it is; None for none. Of a machine
        of very many clauses nothing is.
    """

    def __init__(
        self,
        *arguments: Any,
        kept: Kept,
        contents: Contents,
        last: LastInduction | None = None,
        **named: Any,
    ) -> None:
        super().__init__(*arguments, **named)
        self.kept = kept
        self.contents = contents
        self._clauses = self.examiner.clauses.clauses
        self._finely = len(self._clauses) <= FINELY
        self.last = last if self._finely else None
        self._following: Following | None = None
        self._known: dict[int, AtEvents] = {}
        self._by_guard: dict[int, set[int]] = defaultdict(set)
        self._taken: dict[int, Taken] = {}
        self._asked: dict[int, Asked] = {}
        self._shown: dict[bytes, Shown] = {}
        self._in_part: set[int] = set()
        self._helped: dict[int, set[int]] = {}
        self._goals: dict[int, _Goal] = {}
        self._numbers: dict[bytes, int] | None = None

    def run(
        self,
        goals: Iterable[int],
        given: Iterable[int] = (),
        premises: Premises = NO_PREMISES,
    ) -> Induction:
        result = super().run(goals, given, premises)
        self.kept.keep(self._new())
        if self.last is not None:
            self.last.later = self._as_shown
        return result

    def _examine(self, todo: Sequence[int]) -> Iterator[Findings]:
        for goal in todo:
            # What was known in an earlier round may lean on a clause that is lost by now.
            self._forget(goal)
        taken = Findings()
        rest = array("i", self._known_by_key(self._followed(todo, taken), taken))
        if self._finely and self._following is None:
            self._look_up_moves([goal for goal in rest if goal not in self._in_part])
        for goal in rest if self._finely else ():
            self._spare(goal, taken)
        if taken.count:
            self.result.kept += taken.count
            yield taken
        for found in super()._examine(rest):
            self._collect(found)
            yield found

    # ------------------------------------------------------------ what was kept

    def _known_by_key(self, goals: Sequence[int], taken: Findings) -> Iterator[int]:
        """Take over the clauses that something is kept of; the others."""
        following = self._following
        asked = {
            goal: self._asked_of(goal).key
            for goal in goals
            # What follows from one other clause is not kept.
            if following is None or not following.was_implied(goal)
        }
        self._shown.update(self.kept.known(key for key in asked.values() if key not in self._shown))
        for goal in goals:
            shown = self._shown.get(asked[goal]) if goal in asked else None
            helping = None if shown is None else self._helping(goal, shown)
            if shown is None or helping is None:
                yield goal
            else:
                self._forget(goal)
                taken.take_over(goal, shown.obligations, helping)

    def _asked_of(self, goal: int) -> Asked:
        """What there is to be shown of a clause."""
        asked = self._asked.get(goal)
        if asked is None:
            asked = self._asked[goal] = self.contents.asked(self._clauses[goal])
        return asked

    def _look_up_moves(self, goals: Sequence[int]) -> None:
        """Ask what is kept of each thing that could make some clauses false."""
        self._in_part.update(goals)
        keys = [key for goal in goals for _, key in self._asked_of(goal).of_moves()]
        self._shown.update(self.kept.known(keys))

    def _spare(self, goal: int, taken: Findings) -> None:
        """Take over what was shown of some of the events that could make a clause false."""
        known = self._known.setdefault(goal, {})
        for move, key in self._asked_of(goal).of_moves() if self._following is None else ():
            shown = self._shown.get(key)
            helping = None if shown is None else self._helping(goal, shown)
            if helping is not None:
                group = tuple(helping)
                events = [event.number for event in move.events]
                known.update(dict.fromkeys(events, group))
                self._by_guard[goal].update(events)  # for all that is known
        spared = self.examiner.spared[goal] = set(known)
        helped = dict.fromkeys([number for group in known.values() for number in group])
        self._helped[goal] = set(helped)
        if spared:
            taken.take_over(goal, len(spared), list(helped))

    def _helping(self, goal: int, shown: Shown) -> list[int] | None:
        """The clauses that helped; None if one is missing or no longer stands, or if the clause
        would have to be an invariant that follows from lemmas and is not."""
        numbers = self._by_digest()
        stated, standing = self.examiner.clauses.stated, self.examiner.clauses.standing
        if shown.in_any_state and goal >= stated:
            return None
        found = []
        for digest in shown.helping:
            number = numbers.get(digest, -1)
            if number < 0 or not standing[number] or (shown.in_any_state and number < stated):
                return None
            found.append(number)
        return found

    def _followed(self, goals: Sequence[int], taken: Findings) -> Sequence[int]:
        """Take over the clauses of which the last induction showed all, and nothing is otherwise;
        the others."""
        if self.last is None or self.last.shown is None:
            return goals
        if self._following is None:
            of, clauses = self.contents, self.examiner.clauses
            self._following = Following(
                self.last.shown, of.variables, of.said, of.event_of, clauses
            )
        following, threats, rest = self._following, self.contents.threats, array("i")
        for goal in goals:
            clause = self._clauses[goal]
            its = following.wholly(goal, clause, threats) or self._at_events(following, goal)
            if its is None:
                rest.append(goal)
            else:
                self._taken[goal] = its
                taken.take_over(goal, its.obligations, its.helping)
        return rest

    def _forget(self, goal: int) -> None:
        self._known.pop(goal, None)
        self._by_guard.pop(goal, None)
        self._taken.pop(goal, None)

    def _at_events(self, following: Following, goal: int) -> Taken | None:
        """Look what the last induction says of a clause, event by event, and take the clause over
        if it says enough. A clause that stood then is true at the start now too, for its variables
        begin as they did; of any other that has to be shown."""
        standing = self.examiner.clauses.standing
        events = self.contents.threats(self._clauses[goal])
        known, self._by_guard[goal] = following.known(goal)
        self._known[goal] = known
        for event in events & following.never.keys() - known.keys():
            group, guarded = following.never[event]
            if all(standing[number] for number in group):
                known[event] = group
                if guarded:
                    self._by_guard[goal].add(event)
        if IN_ANY_STATE in known:
            helping = dict.fromkeys(known[IN_ANY_STATE])
        elif following.stood(goal) and events <= known.keys():
            helping = dict.fromkeys([number for event in events for number in known[event]])
        else:
            return None
        return Taken(len(events) + 1, tuple(helping), IN_ANY_STATE in known)

    def _by_digest(self) -> dict[bytes, int]:
        if self._numbers is None:
            # Of a clause that is an invariant and a lemma the lemma: it may help with both.
            self._numbers = numbers_of(self._clauses, self.contents)
        return self._numbers

    # ------------------------------------------------------------- what to keep

    def _as_shown(self) -> ShownAtEvents:
        """What there is to remember of this induction: of each clause that stands, what was
        found of it or taken over."""
        in_play = self.examiner.clauses
        at: dict[int, AtEvents] = {}
        whole: dict[int, Wholly] = {}
        implied: set[int] = set()
        guarded: dict[int, set[int]] = {}
        same: dict[Helping, Helping] = {}
        never = {} if self._following is None else dict(self._following.never)
        for event, shape, helping, by_guard in self.examiner.impossible():
            if self.result.answers.get(shape) == "unsat":
                never[event] = tuple(helping), by_guard
        for goal in compress(count(), self.result.demanded):
            if not in_play.standing[goal]:
                continue
            own, leaning = self._known.get(goal), self._by_guard.get(goal, set())
            if own is None and self._following is not None:
                own, leaning = self._following.known(goal)
            own = own or {}
            its = self._goals.get(goal)
            if its is not None:
                own = {**own, **self._found(goal, its)}
                leaning = leaning | its.guarded
            at[goal] = {event: same.setdefault(group, group) for event, group in own.items()}
            together = wholly(at[goal], self.contents.threats(self._clauses[goal]))
            if together is not None:
                whole[goal] = together
            elif its is not None and its.in_any_state:
                implied.add(goal)
            if leaning:
                guarded[goal] = leaning
        return ShownAtEvents(
            self.contents.variables,
            self.contents.said,
            self.contents.event_of,
            self._clauses,
            at,
            whole,
            implied,
            guarded,
            never,
            in_play.stated,
        )

    def _found(self, goal: int, its: _Goal) -> AtEvents:
        """What was found of a clause at events, or in any state if there is no circle in it."""
        stated = self.examiner.clauses.stated
        found = {event: tuple(group) for event, group in its.at.items() if event >= 0}
        lemmas = its.at.get(IN_ANY_STATE)
        if lemmas is not None and goal < stated and all(number >= stated for number in lemmas):
            found[IN_ANY_STATE] = tuple(lemmas)
        return found

    def _collect(self, found: Findings) -> None:
        """Note what was found of each clause, before the solver has decided."""
        goals: dict[int, _Goal] = defaultdict(_Goal)
        for shape, places in found.shapes.items():
            guarded = shape in found.guarded
            for goal, event in zip(places[::2], places[1::2], strict=True):
                its = goals[goal]
                its.count += 1
                its.at[event] = ()
                if guarded:
                    its.guarded.add(event)
        for goal, event, group in found.leans():
            its = goals[goal]
            its.helping.update(group)
            its.at[event] = group
        for its in goals.values():
            its.in_any_state = IN_ANY_STATE in its.at
        for goal, (stated, in_any_state) in found.taken.items():
            goals[goal].count, goals[goal].in_any_state = stated, in_any_state
        self._goals.update(goals)

    def _new(self) -> Iterator[tuple[bytes, Shown]]:
        """What was shown of clauses that stand at the end. Such a clause was not struck out, so
        the solver's answer to each of its obligations was `unsat`, and whatever helped stands,
        for else it would have been examined again."""
        in_play = self.examiner.clauses
        for goal, (obligations, helped, in_any_state) in self._taken.items():
            if in_play.standing[goal]:
                shown = self._kept_of(obligations, helped, in_any_state=in_any_state)
                yield self._asked_of(goal).key, shown
        for goal, its in self._goals.items():
            if not in_play.standing[goal]:
                continue
            asked, spared = self._asked_of(goal), self.examiner.spared.get(goal, ())
            for move, key in asked.of_moves() if self._finely else ():
                events = [event.number for event in move.events]
                if all(event in its.at for event in events):
                    group = {number for event in events for number in its.at[event]}
                    yield key, self._kept_of(len(events), group)
            helping = its.helping | self._helped.get(goal, set())
            lemmas_alone = all(number >= in_play.stated for number in helping)
            if its.in_any_state and not (goal < in_play.stated and lemmas_alone):
                continue
            count = its.count + len(spared)
            yield asked.key, self._kept_of(count, helping, in_any_state=its.in_any_state)

    def _kept_of(self, count: int, helping: Iterable[int], *, in_any_state: bool = False) -> Shown:
        digests = (self.contents.clause(self._clauses[number]) for number in sorted(helping))
        return Shown(count, tuple(digests), in_any_state)
