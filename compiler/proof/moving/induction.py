"""Proof by induction: one event and one clause at a time.

Which of many candidate clauses are inductive together is found by dropping those that
are not, over and over: the algorithm Houdini (C. Flanagan and K. R. M. Leino, "Houdini,
an annotation assistant for ESC/Java", FME 2001), except that only clauses that are needed
for the goals are ever looked at.

A clause holds in every reachable state if it holds at the start, and no
event makes it false in a state in which all clauses hold. For each clause and
each event that could make it false, that is one obligation: the guard, some other
clauses, and the clause being false afterwards cannot be true together. Which
other clauses to bring in is found by following what each known value rules out;
a bad choice could only make an obligation unprovable, never wrong.

An obligation names few variables, so there are few of them up to renaming. Each
of these shapes is given to a solver once. A clause whose obligation fails is
struck out, and everything that was shown with its help is shown again without.

An event that moves no variable of a clause out of the values that the clause
names cannot make it false, and makes no obligation.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import chain, compress, count

from bellcrank.proof.moving.asked_along import NO_PREMISES, AskedAlong, Premises
from bellcrank.proof.moving.examine import Examiner, Tell, chunks_along
from bellcrank.proof.moving.findings import START, Findings, Obligation
from bellcrank.proof.moving.recurring import MANY_CLAUSES, Recurring, renaming_of
from bellcrank.proof.moving.shapes import Shape

Solve = Callable[[Sequence[Shape]], Sequence[str]]
"""A solver: "unsat", "sat" or "unknown" for each shape."""

Spread = Callable[[Examiner, Sequence[int], Tell], Iterator[Findings]]
"""Has clauses examined by several workers, and gives their findings; tells on the way
how many are done."""

WORTH_SPREADING = 40_000
"""Clauses from which on it pays to have several workers examine them: of fewer a second process
saves a fifth of the time, and takes a third more of it from both processors."""

AT_ONCE = 10_000
"""Clauses that are examined together where one process does all: what is in hand while it
does so is thrown away before the next part of the railway."""


TAKEN_OVER = 2
"""How often clauses are taken over along a line from those that were examined. After that few are
left, which follow from others of their own stretch and take no search."""


@dataclass(frozen=True, slots=True)
class Open:
    """An obligation that was not shown: a clause, and an event as in `Obligation`."""

    clause: int
    event: int
    answer: str


@dataclass(slots=True)
class Induction:
    """What was shown.

    held: for each clause whether it was not struck out, when all was done.
    demanded: for each whether it was to be shown, as a goal or because it helps. Those of them
        that held are inductive together.
    failed: why some were struck out, as far as induction can tell.
    obligations: how many there were. answers: to the different ones among them.
    examples: for each of those the first that there was.
    kept: of the obligations, those that an earlier proof had answered.
    """

    held: list[bool] = field(default_factory=list)
    demanded: bytearray = field(default_factory=bytearray)
    failed: dict[int, Open] = field(default_factory=dict)
    obligations: int = 0
    answers: dict[Shape, str] = field(default_factory=dict)
    examples: dict[Shape, Obligation] = field(default_factory=dict)
    kept: int = 0


Round = tuple[Sequence[int], Sequence[Findings]]
"""Clauses that were examined together, and what was found of them; without the shapes."""


def helping_in(rounds: Iterable[Round]) -> dict[int, set[int]]:
    """What helped with clauses, as it was found when they were examined last."""
    helping: dict[int, set[int]] = {}
    for goals, findings in rounds:
        helping.update((goal, set()) for goal in goals)
        for found in findings:
            for goal, _, group in found.leans():
                helping[goal].update(group)
    return helping


class Prover:
    """Shows clauses by induction.

    solve: decides shapes; nothing is shown without its "unsat".
    tell: told how many clauses of how many have been examined, those of all rounds together.
    deadline: a time of the monotonic clock after which nothing more is shown.
    first_loss: told when clauses have been struck out for the first time: each of them may
        draw others with it, which takes long, and what came of the first may say enough.
    spread: how large numbers of clauses are examined; None for one by one.
    rounds: what was found in the last run.
    """

    def __init__(
        self,
        examiner: Examiner,
        solve: Solve,
        *,
        tell: Callable[[int, int], None] = lambda done, of: None,
        deadline: float | None = None,
        spread: Spread | None = None,
        first_loss: Callable[[Induction], None] = lambda _: None,
    ) -> None:
        self.examiner = examiner
        self.solve = solve
        self.tell = tell
        self.deadline = deadline
        self.spread = spread
        self.first_loss = first_loss
        self.result = Induction()
        self.rounds: list[Round] = []
        self._examined = 0
        self._looked = False
        self._recurring: Recurring | None = None

    def run(
        self,
        goals: Iterable[int],
        given: Iterable[int] = (),
        premises: Premises = NO_PREMISES,
    ) -> Induction:
        """Show these clauses, and those that turn out to be needed for it.

        given: clauses that are always true if the premises are, and so need not be shown.
        premises: clauses that do not stand, since nothing may be shown with their help. Once
            one is lost there is no more to be shown.
        """
        standing = self.examiner.clauses.standing
        demanded = self.result.demanded = bytearray(len(standing))
        for number in given:
            demanded[number] = True
        todo: Sequence[int] = array("i", (goal for goal in goals if not demanded[goal]))
        for goal in todo:
            demanded[goal] = True
        needed = {number for numbers in premises.values() for number in numbers}
        self.rounds = []
        asked = premises
        while todo or asked:
            # Of a large railway there are millions of clauses, so they are marked rather than
            # listed.
            further = bytearray(len(standing))
            lost: set[int] = set()
            findings: list[Findings] = []
            self.rounds.append((todo, findings))
            for found in self._all_of(todo, asked):
                self.result.obligations += found.count
                for number in found.wanted():
                    further[number] = not demanded[number]
                lost |= self._lost(found)
                if not needed.isdisjoint(lost):
                    self.result.held = list(standing)
                    return self.result
                found.shapes.clear()
                findings.append(found)
            if lost and not self.result.held:
                self.result.held = list(standing)
                self.first_loss(self.result)
            again = further
            if lost:
                again = bytearray(further)
                for found in chain.from_iterable(findings for _, findings in self.rounds):
                    for goal in found.leaning_on(lost):
                        again[goal] = True
            for number in compress(count(), further):
                demanded[number] = True
            todo = array("i", (goal for goal in compress(count(), again) if standing[goal]))
            # A premise may lean on a clause that is lost in a later round.
            asked = {
                event: numbers
                for event, numbers in premises.items()
                if any(again[number] for number in numbers)
            }
        self.result.held = list(standing)
        return self.result

    def _all_of(self, todo: Sequence[int], premises: Premises) -> Iterator[Findings]:
        if premises:
            yield from self._before(premises)
        yield from self._examine(todo)

    def _before(self, premises: Premises) -> Iterator[Findings]:
        """What is found of clauses before events: along a line most is taken over."""
        examiner, line = self.examiner, self._line()
        if line is None:
            yield examiner.before(premises, self.deadline)
            return
        along = AskedAlong(line, premises)
        for _ in range(TAKEN_OVER):
            found = examiner.before(along.examined(), self.deadline)
            along.note(found)
            yield found
            yield along.taken_over()
        yield examiner.before(along.left(), self.deadline)

    def _examine(self, todo: Sequence[int]) -> Iterator[Findings]:
        """What is found of some clauses: along a line that recurs most is taken over."""
        line = self._line()
        if line is None:
            yield from self._each(todo)
            return
        further = line.further_on(todo)
        for _ in range(TAKEN_OVER):
            for found in self._each(further.first):
                further.note(found)
                yield found
            taken = further.taken_over()
            self._examined += len(taken.taken)
            yield taken
        yield from self._each(array("i", further.left()))

    def _line(self) -> Recurring | None:
        """The stretches of this machine that recur, if that is looked for."""
        examiner = self.examiner
        if examiner.own_names or examiner.spared or len(examiner.clauses.clauses) <= MANY_CLAUSES:
            return None
        if not self._looked:
            self._looked = True
            renaming = renaming_of(examiner.packed, examiner.kinds)
            if renaming is not None:
                self._recurring = Recurring(examiner.packed, examiner.clauses, renaming)
        return self._recurring

    def _each(self, todo: Sequence[int]) -> Iterator[Findings]:
        of = self._examined + len(todo)

        def tell(before: int, done: int) -> None:
            self.tell(before + done, of)

        if self.spread is not None and len(todo) >= WORTH_SPREADING:
            yield from self.spread(self.examiner, todo, partial(tell, self._examined))
            self._examined = of
            return
        for chunk in chunks_along(self.examiner, todo, -(-len(todo) // AT_ONCE)):
            yield self.examiner.examine(chunk, self.deadline, partial(tell, self._examined))
            self._examined += len(chunk)

    def _lost(self, found: Findings) -> set[int]:
        """Have the shapes solved and strike out the clauses that were not shown."""
        new = [shape for shape in found.shapes if shape not in self.result.answers]
        self.result.answers.update(zip(new, self.solve(new), strict=True))
        self.result.examples.update((shape, found.examples[shape]) for shape in new)
        open_ = [Open(goal, event, "not shown") for goal, event in found.nothing]
        open_ += [Open(goal, START, "no time") for goal in found.left]
        for shape, places in found.shapes.items():
            answer = self.result.answers[shape]
            if answer != "unsat":
                open_ += [
                    Open(goal, event, answer)
                    for goal, event in zip(places[::2], places[1::2], strict=True)
                ]
        for failure in open_:
            self.result.failed.setdefault(failure.clause, failure)
        lost = {failure.clause for failure in open_}
        self.examiner.clauses.strike(lost)
        return lost
