"""The moving proof: every property of the machine, proved, refuted or undecided.

First by induction with the clauses that come with the machine. What that leaves
open is looked for in the states themselves, which yields a story, or, if the
layout is small and there is none, clauses for another induction. Last comes z3's
Horn engine. What is open even then is undecided, and said to be.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from functools import partial

from bellcrank.machine.circuits import rings_of_tails
from bellcrank.machine.collecting import collected_seldom
from bellcrank.machine.machine_model import (
    AWAY_FROM_REST,
    Clause,
    Event,
    Is,
    Machine,
    Wish,
)
from bellcrank.proof.kept.contents import Contents
from bellcrank.proof.kept.event_by_event import LastInduction
from bellcrank.proof.kept.kept_induction import KeptAnswers, KeptProver
from bellcrank.proof.kept.kept_model import Kept
from bellcrank.proof.kept.method import method
from bellcrank.proof.kept.revising import LastProof, revise
from bellcrank.proof.moving import mining
from bellcrank.proof.moving.asked_along import Premises
from bellcrank.proof.moving.examine import Examiner
from bellcrank.proof.moving.horn import Horn
from bellcrank.proof.moving.induction import Induction, Prover, Spread
from bellcrank.proof.moving.obligation_words import stated
from bellcrank.proof.moving.rings import closings
from bellcrank.proof.moving.service import Setter, never_off_together, never_set_together
from bellcrank.proof.moving.shapes import Shape
from bellcrank.proof.moving.solving import SolverName, Solving, version
from bellcrank.proof.moving.spreading import OverExecutor, local
from bellcrank.proof.moving.story import (
    MOST_STATES,
    Choice,
    Story,
    choice_from,
    events_of,
    look_with,
    stories_of,
    tell,
    track_near,
    whole_search,
)
from bellcrank.proof.moving.traps import Traps
from bellcrank.proof.verdict import MovingOutcome, MovingResult, MovingVerdict, Question, Stopped
from bellcrank.running.packed import Packed, PackedClause
from bellcrank.running.state_search import Explorer, Found

Progress = Callable[[str], None]

MOST_CHOICES = 60
"""Sets of routes with which a story is looked for on a large layout."""

SOON = 8
"""Sets of routes with which a story is looked for as soon as a clause is struck out."""

MOST_STATES_SOON = 4_000
"""States looked at with each of them."""

MOST_COPIED = 2_000_000
"""Clauses up to which this machine's other cores help: each process comes to copy what it
reads, and of a railway of 100,000 routes two copies are more than most machines hold."""

MOST_TRIPLES = 4_000

SECONDS_FOR_HORN = 20.0
"""For the Horn engine, unless the time limit leaves less."""

MOST_VARIABLES_FOR_HORN = 80


@dataclass(frozen=True, slots=True)
class Effort:
    """How much to do.

    seconds: a limit on the whole proof; None for none.
    recheck: whether a second solver decides every shape again.
    own_names: whether every obligation is stated by its own names, though one like it was
        stated before.
    executor: where clauses are examined and shapes solved; None for this machine.
    workers: how many workers the executor has.
    search: states of the whole machine that may be looked at.
    kept: where what was shown is kept from one proof to another; None for nowhere. Not looked at
        where obligations are decided again, stated by their own names, or spread over workers.
    induction: where the induction is remembered beside that, to be followed event by event by the
        next one of the same process; None for nowhere.
    proof: where the proof is remembered, to be revised where the next machine is otherwise; None
        for nowhere.
    """

    seconds: float | None = None
    recheck: bool = False
    own_names: bool = False
    executor: Executor | None = None
    workers: int = 2
    search: int = MOST_STATES
    kept: Kept | None = None
    induction: LastInduction | None = None
    proof: LastProof | None = None

    @property
    def afresh(self) -> bool:
        """Whether nothing that was kept is looked at."""
        return self.recheck or self.own_names or self.executor is not None


@collected_seldom()
def prove_moving(
    machine: Machine, effort: Effort | None = None, progress: Progress | None = None
) -> MovingVerdict:
    """Decide every property and every expectation of a machine.

    Raises NoSolverError if a recheck is asked for and the second solver is not installed.
    """
    return Moving(machine, effort or Effort(), progress or (lambda _: None)).verdict()


@dataclass(frozen=True, slots=True)
class Shown:
    """What was shown of a machine, for another one that may take it over.

    clauses: those of the machine that were shown by induction, which are inductive together.
    answered: shapes that z3 has found to have no solution.
    packed: the machine in numbers, if it was put in numbers.
    """

    machine: Machine
    clauses: Collection[Clause]
    answered: Collection[Shape] = ()
    packed: Packed | None = None


@collected_seldom()
def prove_and_keep(
    machine: Machine, effort: Effort, progress: Progress | None = None
) -> tuple[MovingVerdict, Shown]:
    """The same, and what a machine that follows this one may take over."""
    moving = Moving(machine, effort, progress or (lambda _: None))
    verdict = moving.verdict()
    clauses = () if verdict.disagreement else moving.shown()
    return verdict, Shown(machine, clauses, verdict.unsolvable, moving._packed)


@dataclass(frozen=True, slots=True)
class TakenOver:
    """What was shown of another machine, and when it is so of this one.

    shown: clauses that are true in every reachable state of this machine if all that is asked is
        shown of it. The variables of that machine are the first of this one, and what is a clause
        of both is one object.
    asked: clauses that are to be true whenever an event, which changes nothing, is possible; by
        its number.
    """

    shown: Shown
    asked: Mapping[int, Sequence[Clause]]


@dataclass(slots=True)
class Moving:
    """One moving proof in progress.

    taken_over: what need not be shown. With that nothing but induction is tried: what it leaves
        open has to be proved without.
    given, premises: the same by numbers.
    further: clauses beside those that come with the machine.
    by_states: what was decided by looking at all states.
    method: what proves, if answers are kept. of_part: what was asked of a part, if
        the last proof was revised.
    of_rings, closing: what was asked so that no ring of tails closes, and the number of
        obligations. ring: track where one might.
    depth: events within which all states of the whole machine were looked at.
    """

    machine: Machine
    effort: Effort
    progress: Progress
    taken_over: TakenOver | None = None
    deadline: float | None = None
    solving: Solving | KeptAnswers = field(init=False)
    method: str = ""
    given: frozenset[int] = frozenset()
    premises: Premises = field(default_factory=dict)
    further: list[PackedClause] = field(default_factory=list)
    inductions: int = 0
    induction: Induction = field(default_factory=Induction)
    open: dict[str, None] = field(default_factory=dict)
    stories: dict[str, Story] = field(default_factory=dict)
    states: int = 0
    stopped: Stopped = ""
    looked: bool = False
    by_horn: set[str] = field(default_factory=set)
    by_states: set[str] = field(default_factory=set)
    of_rings: list[Question] = field(default_factory=list)
    closing: int = 0
    ring: tuple[str, ...] = ()
    depth: int = 0
    of_part: tuple[Question, ...] | None = None
    _packed: Packed | None = None
    _contents: Contents | None = None

    def __post_init__(self) -> None:
        effort = self.effort
        if effort.seconds is not None:
            self.deadline = time.monotonic() + effort.seconds
        known = () if self.taken_over is None else self.taken_over.shown.answered
        self.solving = Solving("z3", effort.executor, self.deadline, known)
        if effort.kept is not None and not effort.afresh:
            self.method = method()
            self.solving = KeptAnswers(self.solving, effort.kept, self.method)
        if self.taken_over is not None:
            self.take_over(self.taken_over)

    @property
    def packed(self) -> Packed:
        """The machine in numbers."""
        if self._packed is None:
            of_part = None
            if self.taken_over is not None and self.taken_over.shown.packed is not None:
                of_part = self.taken_over.shown.machine, self.taken_over.shown.packed
            self._packed = Packed(self.machine, of_part)
        return self._packed

    @property
    def contents(self) -> Contents | None:
        """What it says, by which answers are kept; None if none are looked for."""
        if self._contents is None and self.method:
            self._contents = Contents(self.packed, self.machine, self.method)
        return self._contents

    def take_over(self, what: TakenOver) -> None:
        """Give what is taken over its numbers."""
        shown = {id(clause) for clause in what.shown.clauses}
        stated = self.machine.clauses
        self.given = frozenset([n for n, clause in enumerate(stated) if id(clause) in shown])
        each = {id(clause): clause for clauses in what.asked.values() for clause in clauses}
        of_clause: dict[int, int] = {}
        numbers: dict[PackedClause, int] = {}
        for name, clause in each.items():
            packed = self.packed.clause(clause)
            of_clause[name] = numbers.setdefault(packed, len(stated) + len(numbers))
        self.premises = {
            event: [of_clause[id(clause)] for clause in clauses]
            for event, clauses in what.asked.items()
        }
        self.further = list(numbers)

    def verdict(self) -> MovingVerdict:
        """Decide what can be decided; what is known by then if it is stopped."""
        names = dict.fromkeys([*self.machine.properties, *(i.of for i in self.machine.invariants)])
        solvers: list[SolverName] = ["z3", "cvc5"] if self.effort.recheck else ["z3"]
        versions = tuple(version(s) for s in solvers)
        self.open = dict.fromkeys(names)
        served: list[MovingResult] = []
        disagreement = ""
        try:
            self.decide(names)
            served += self.wishes()
            if self.effort.recheck:
                disagreement = self.recheck()
        except KeyboardInterrupt:
            self.stopped = "by Ctrl-C"
        if not self.stopped and self.late():
            self.stopped = "by the time limit"
        return MovingVerdict(
            (*(self.result(name) for name in names), *served),
            self.induction.obligations + self.closing,
            self.questions(),
            self.states,
            versions,
            disagreement,
            self.stopped,
            self.machine.assumptions,
            self.induction.kept,
        )

    def decide(self, names: Iterable[str]) -> None:
        """Settle the properties one way after the other."""
        self.induction = self.revised() or self.induce(())
        self.open = {name: None for name in names if self.left_open(name)}
        if self.taken_over is not None:
            self.come_to_rest()
            return
        if self.open and not self.stories and not self.late():
            self.settle((), thorough=True)
        if self.open and not self.late():
            self.look()
        self.open = {name: None for name in self.open if name not in self.stories}
        if self.open and not self.stories and not self.late():
            self.horn()
        self.come_to_rest()

    def late(self) -> bool:
        return self.deadline is not None and time.monotonic() > self.deadline

    # -------------------------------------------------------------- induction

    def induce(self, further: Iterable[PackedClause], *, thorough: bool = False) -> Induction:
        """One induction over all properties, with further candidates."""
        more = list(further)
        if more:
            known = {*self.packed.clauses, *self.further}
            self.further += [c for c in more if c not in known]
        examiner = self.examiner(thorough=thorough)
        # Premises are asked of the clauses before them, and nothing may be shown with their help.
        examiner.clauses.strike(n for numbers in self.premises.values() for n in numbers)
        prover = self.prover(examiner, self.effort.induction if self.taken_over is None else None)
        found = prover.run(range(self.packed.stated), self.given, self.premises)
        if self.effort.proof is not None and not self.further and self.taken_over is None:
            self.effort.proof.note(self.machine, found, prover.rounds)
        return found

    def revised(self) -> Induction | None:
        """The last proof, revised to be one of this machine, if there is one and it can be."""
        memory = self.effort.proof
        if memory is None or not self.method or self.taken_over is not None:
            return None
        found = revise(self.machine, memory, self.solving, self.deadline)
        if found is None:
            return None
        memory.later = found.later
        self.of_part = tuple(_questions(found.induction, found.part, found.packed, ()))
        every = [bool(shown) for shown in found.shown]
        obligations = found.kept + found.induction.obligations
        return Induction(every, found.shown, obligations=obligations, kept=found.kept)

    def examiner(self, *, thorough: bool) -> Examiner:
        return Examiner(
            self.packed,
            tuple(self.further),
            thorough=thorough,
            own_names=self.effort.own_names or self.effort.recheck,
        )

    def prover(self, examiner: Examiner, last: LastInduction | None = None) -> Prover:
        effort, deadline = self.effort, self.deadline
        spread: Spread | None = None
        if len(examiner.clauses.clauses) <= MOST_COPIED:
            spread = local(deadline)
        if effort.executor is not None:
            spread = OverExecutor(effort.executor, effort.workers, deadline)
        make: Callable[..., Prover] = Prover
        if effort.kept is not None and self.contents is not None:
            make = partial(KeptProver, kept=effort.kept, contents=self.contents, last=last)
        return make(
            examiner,
            self.solving,
            tell=self.tell_count,
            deadline=deadline,
            spread=spread,
            first_loss=self.look_soon if self.taken_over is None else _no_one,
        )

    def tell_count(self, done: int, of: int) -> None:
        how = "a wider induction" if self.inductions > 1 else "induction"
        self.progress(f"{how}, {done:,} of {of:,} clauses")

    def shown(self) -> tuple[Clause, ...]:
        """The clauses of the machine that are inductive together; none where they are so only
        beside others, or the solvers disagree."""
        held, demanded = self.induction.held, self.induction.demanded
        stated = self.machine.clauses
        if any(h and d for h, d in zip(held[len(stated) :], demanded[len(stated) :], strict=True)):
            return ()
        return tuple(
            clause for clause, h, d in zip(stated, held, demanded, strict=False) if h and d
        )

    def followed(self) -> bool:
        """Whether all that was asked for is shown, so that what was taken over is so."""
        return not any(n in self.induction.failed for ns in self.premises.values() for n in ns)

    def left_open(self, name: str) -> list[int]:
        """The clauses of a property that are not shown."""
        return [
            number
            for number in self.induction.failed
            if number < self.packed.stated and self.machine.invariants[number].of == name
        ]

    # ---------------------------------------------------------------- stories

    def look_soon(self, induction: Induction) -> None:
        """Look at the nearest states with the routes that the first open obligations name:
        where locking is wrong, much falls with them, and this is found sooner."""
        if self.looked or not self.effort.search or self.late():
            return
        self.looked = True
        self.induction = induction
        wanted = dict.fromkeys(i.of for i in self.machine.invariants)
        near = track_near(self.machine)
        self.stories = look_with(
            self.machine,
            wanted,
            self.traps().test,
            self.choices()[:SOON],
            near,
            self.deadline,
            self.progress,
            MOST_STATES_SOON,
        )

    def traps(self) -> Traps:
        return Traps(self.packed, [self.packed.place[is_.variable] for (is_,) in self.at_rest()])

    def look(self) -> None:
        """Look for stories; on a small layout, settle what has none."""
        self.progress("looking for a story")
        traps = self.traps()
        rounds = self.rounds()
        for by_hand in rounds:
            explorer, found = whole_search(
                self.machine,
                self.open,
                traps.test,
                self.effort.search,
                self.deadline,
                self.progress,
                by_hand=by_hand,
            )
            self.states += found.states
            self.depth = found.depth if by_hand else 0
            for story in stories_of(self.machine, explorer, found, shortest=True):
                self.stories[story.of] = story
            self.open = {name: None for name in self.open if name not in self.stories}
            longer = [name for name, story in self.stories.items() if not story.shortest]
            if by_hand and len(rounds) > 1:
                longer = []  # they were looked for without vehicles that stand
            if self.late() or not (self.open or longer):
                return
            if found.complete and by_hand:
                if "rest" in self.open:
                    self.rest_by_states(explorer, found)
                self.mine(list(found.seen))
            elif not found.complete:
                self.look_near([*self.open, *longer], traps, by_hand=by_hand)
            if self.late() or not self.open:
                return
            if self.stories and not found.complete:
                return  # with vehicles that stand there are yet more states

    def rounds(self) -> tuple[bool, ...]:
        """Whether people handle vehicles that stand, one search after the other: first
        without, for there are fewer states."""
        alone = len(events_of(self.machine, by_hand=False)) == len(self.machine.events)
        return (True,) if alone else (False, True)

    def look_near(self, wanted: Iterable[str], traps: Traps, *, by_hand: bool) -> None:
        """Look for stories with the routes that open obligations name."""
        for story in look_with(
            self.machine,
            wanted,
            traps.test,
            self.choices(),
            track_near(self.machine),
            self.deadline,
            self.progress,
            by_hand=by_hand,
        ).values():
            self.stories[story.of] = story
            self.open.pop(story.of, None)

    def rest_by_states(self, explorer: Explorer, found: Found) -> None:
        """All states are known: whether every one leads to rest, whatever was shown."""
        del self.open["rest"]
        leading = [e for e in self.machine.events if e.kind not in AWAY_FROM_REST]
        at_rest = Explorer(self.machine, leading)
        stuck = at_rest.never_leads_to(self.at_rest(), found.seen)
        if stuck is None:
            self.by_states.add("rest")
            return
        start, run = explorer.run_to(found.seen, stuck)
        self.stories["rest"] = tell(
            self.machine,
            "rest",
            run,
            explorer.unpack(start),
            True,
            otherwise="from here on the railway never comes to rest",
        )

    def choices(self) -> list[Choice]:
        """Sets of routes that open obligations name, the first to fail first."""
        found: dict[Choice, None] = {}
        for number, failure in self.induction.failed.items():
            event: Event | None = None
            if failure.event >= 0:
                event = self.machine.events[failure.event]
            stated = self.packed.stated
            if number < stated:
                clause = self.machine.invariants[number].clause
            elif number - stated < len(self.machine.lemmas):
                clause = self.machine.lemmas[number - stated]
            else:
                continue
            choice = choice_from(self.machine, clause, event)
            if 0 < len(choice.routes) <= 3:
                found[choice] = None
        return list(found)[:MOST_CHOICES]

    # ----------------------------------------------------------------- mining

    def mine(self, states: list[tuple[int, ...]]) -> None:
        """Every state has been seen and nothing is wrong in any: find clauses that say
        why, and prove them."""
        self.progress("finding out why there is no story")
        sizes = [mask.bit_length() for mask in self.packed.full]
        self.settle(mining.pairs_never_together(states, sizes))
        if self.open and not self.late():
            among = self.variables_near()
            self.settle(mining.triples_never_together(states, sizes, among, MOST_TRIPLES))

    def settle(self, further: Iterable[PackedClause], *, thorough: bool = False) -> None:
        again = self.induce(further, thorough=thorough)
        again.obligations += self.induction.obligations
        again.kept += self.induction.kept
        again.answers = {**self.induction.answers, **again.answers}
        again.examples = {**again.examples, **self.induction.examples}
        self.induction = again
        self.open = {name: None for name in self.open if self.left_open(name)}

    def variables_near(self) -> set[int]:
        """Variables of open obligations and of clauses that share one with them."""
        near: set[int] = set()
        for name in self.open:
            for number in self.left_open(name):
                near |= {v for v, _ in self.packed.clauses[number]}  # an invariant
                failure = self.induction.failed[number]
                if failure.event >= 0:
                    event = self.packed.events[failure.event]
                    near |= set(event.units) | set(event.updates)
        among = set(near)
        for clause in self.packed.clauses:
            own = {v for v, _ in clause}
            if own & near:
                among |= own
        return among

    # ---------------------------------------------------------------- service

    def come_to_rest(self) -> None:
        """Show that no ring of tails closes."""
        rings = rings_of_tails(self.machine.variables, self.machine.events)
        closing = list(closings(self.machine, self.packed, rings)) if rings else []
        known = self.induction.answers
        new = list(dict.fromkeys(c.shape for c in closing if c.shape not in known))
        answers = {**known, **dict(zip(new, self.solving(new), strict=True))}
        examples = {c.shape: c.stated for c in reversed(closing)}
        self.of_rings = [Question(shape, answers[shape], examples[shape]) for shape in new]
        self.closing = len(closing)
        self.ring = tuple(
            dict.fromkeys(
                self.machine.variables[c.tail[0]].of for c in closing if answers[c.shape] != "unsat"
            )
        )

    def at_rest(self) -> list[tuple[Is]]:
        """That no route is set."""
        return [
            (Is(v.name, frozenset(v.initial)),)
            for v in self.machine.variables.values()
            if v.kind == "route"
        ]

    def wishes(self) -> Iterator[MovingResult]:
        """Whether every route can be set, and every expectation `with`."""
        self.progress("setting every route")
        setter = Setter(self.machine)
        alone = [w for w in self.machine.wishes if len(w.routes) == 1]
        unset = [w for w in alone if setter.run_for(w) is None]
        outcomes = {w.text: self.cannot(w) for w in unset}
        said = "every route can be set from rest"
        never_set = tuple(w.text for w in unset if outcomes[w.text] == "refuted")
        never = tuple(f"{name} can never be set" for name in never_set)
        open_ = tuple(
            f"{w.text} could not be set" for w in unset if outcomes[w.text] == "undecided"
        )
        outcome: MovingOutcome = "refuted" if never else "undecided" if open_ else "shown"
        yield MovingResult("routes", said, outcome, len(alone), None, never or open_, never_set)
        for wish in self.machine.wishes:
            if len(wish.routes) > 1:
                outcome = "shown" if setter.run_for(wish) is not None else self.cannot(wish)
                why: tuple[str, ...] = ()
                if outcome == "refuted":
                    why = ("the signals of these routes can never be off at once",)
                yield MovingResult(wish.text, wish.text, outcome, 1, None, why, expectation=True)

    def cannot(self, wish: Wish) -> MovingOutcome:
        """Of a wish that a plain run does not fulfil: whether nothing can."""
        clause = never_off_together(self.machine, wish.routes)
        set_ = never_set_together(self.machine, wish.routes)
        self.further += [self.packed.clause(set_), self.packed.clause(clause)]
        examiner = self.examiner(thorough=True)
        number = len(examiner.clauses.clauses) - 1
        induction = self.prover(examiner).run([number])
        if induction.held[number]:
            self.induction.answers |= induction.answers
            self.induction.examples |= induction.examples
            return "refuted"
        for by_hand in self.rounds():
            found = Explorer(self.machine, events_of(self.machine, by_hand=by_hand)).search(
                {"reached": self.reached(clause)}, self.effort.search, self.deadline
            )
            if found.runs:
                return "shown"
        return "refuted" if found.complete else "undecided"

    def reached(self, clause: Clause) -> Callable[[tuple[int, ...]], bool]:
        good = Explorer(self.machine, ()).test([clause])
        return lambda state: not good(state)

    # ------------------------------------------------------------------- Horn

    def horn(self) -> None:
        """The last resort: ask z3's Horn engine for an invariant of its own."""
        if len(self.packed.full) > MOST_VARIABLES_FOR_HORN:
            return
        horn = Horn(self.packed)
        for name in list(self.open):
            self.progress(f"asking the Horn engine about {name}")
            clauses = [i.clause for i in self.machine.invariants if i.of == name]
            end = time.monotonic() + SECONDS_FOR_HORN
            end = end if self.deadline is None else min(end, self.deadline)
            if horn.ask([self.packed.clause(c) for c in clauses], end) == "unsat":
                self.by_horn.add(name)
                del self.open[name]

    # ---------------------------------------------------------------- results

    def questions(self) -> tuple[Question, ...]:
        """The different obligations, each with one place where it came up."""
        if self.of_part is not None:
            return (*self.of_part, *self.of_rings)
        own = _questions(self.induction, self.machine, self.packed, self.further)
        return (*own, *self.of_rings)

    def recheck(self) -> str:
        """Have the second solver decide every shape again; what it says otherwise."""
        self.progress("checking every obligation again with a second solver")
        other = Solving("cvc5", self.effort.executor, self.deadline)
        shapes = [question.shape for question in self.questions() if question.answer == "unsat"]
        answers = other(shapes)
        if "sat" in answers:
            return f"{answers.count('sat')} of {len(shapes)} obligations were not confirmed"
        if "unknown" in answers and not self.late():
            open_ = answers.count("unknown")
            return f"{open_} of {len(shapes)} obligations could not be decided again"
        if self.by_horn:
            return f"{', '.join(self.by_horn)}: the Horn engine's answer cannot be checked again"
        return ""

    def result(self, name: str) -> MovingResult:
        own = [i for i in self.machine.invariants if i.of == name]
        sentence = self.machine.properties.get(name, name)
        outcome: MovingOutcome = "proved"
        missing: tuple[str, ...] = ()
        if name in self.stories:
            outcome = "refuted"
        elif name in self.by_states:
            outcome = "shown"
        elif name == "rest" and self.ring and name not in self.open:
            outcome = "undecided"
            where = ", ".join(self.ring)
            missing = (f"tails of trains might wait for each other all round {where}",)
        elif name in self.open:
            outcome = "undecided"
            numbers = self.left_open(name)
            missing = tuple(dict.fromkeys(self.machine.invariants[n].sentence for n in numbers))
        return MovingResult(
            name,
            sentence,
            outcome,
            len(own),
            self.stories.get(name),
            missing,
            expectation=name not in self.machine.properties,
            no_story_within=self.depth if name in self.open else 0,
        )


def _questions(
    induction: Induction, machine: Machine, packed: Packed, further: Iterable[PackedClause]
) -> Iterator[Question]:
    """What was asked in an induction."""
    clauses = [*packed.clauses, *further]
    for shape, answer in induction.answers.items():
        yield Question(shape, answer, stated(induction.examples[shape], machine, packed, clauses))


def _no_one(_: Induction) -> None:
    """Who is told of the first loss if nobody looks for its story."""
