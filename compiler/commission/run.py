"""The run through a checklist, as a state machine over questions and answers.

A run is a checklist and the answers so far; what is asked next and what was found out
follow from these. To take an answer back is to go back to the run before it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

from bellcrank.commission.commission_checklist import Checklist, DriveCheck, RouteCheck

Kind = Literal["lies", "nothing", "yes", "no", "skip", "skip all"]
"""`lies`: the drive lies in a position now. `nothing`: nothing moved. `skip` passes over
one drive, route or question, `skip all` over all that is left of a route."""


class Answer(NamedTuple):
    kind: Kind
    position: str = ""


YES, NO, NOTHING, SKIP, SKIP_ALL = (
    Answer("yes"),
    Answer("no"),
    Answer("nothing"),
    Answer("skip"),
    Answer("skip all"),
)


@dataclass(frozen=True, slots=True)
class Throw:
    """Throw a drive to a position; where does it lie now? number: of the throw, from 1."""

    drive: DriveCheck
    position: str
    number: int

    @property
    def answers(self) -> tuple[Answer, ...]:
        return (*(Answer("lies", p) for p in self.drive.positions), NOTHING, SKIP)


@dataclass(frozen=True, slots=True)
class Stands:
    """Set a route; do its drives lie right, and does its signal show what it must?"""

    route: RouteCheck
    answers: tuple[Answer, ...] = (YES, NO, SKIP)


@dataclass(frozen=True, slots=True)
class Refuses:
    """With a route set, ask for another; is it refused?"""

    route: RouteCheck
    other: str
    answers: tuple[Answer, ...] = (YES, NO, SKIP, SKIP_ALL)


Question = Throw | Stands | Refuses


@dataclass(frozen=True, slots=True)
class Answered:
    question: Question
    answer: Answer


@dataclass(frozen=True, slots=True)
class Run:
    """A run: its checklist, and what was answered so far, in order."""

    checklist: Checklist
    answered: tuple[Answered, ...] = ()

    def answer(self, answer: Answer) -> Run:
        """The run after the next answer. Raises ValueError for one that is none."""
        question = next_question(self)
        if question is None or answer not in question.answers:
            raise ValueError(f"{answer} is not an answer to what is asked")
        return replace(self, answered=(*self.answered, Answered(question, answer)))

    def back(self) -> Run:
        """The run before its last answer."""
        return replace(self, answered=self.answered[:-1])


def next_question(run: Run) -> Question | None:
    """What is to be asked next; None at the end."""
    rest = iter(run.answered)
    skipped: set[DriveCheck | RouteCheck] = set()
    for question in _questions(run.checklist, skipped):
        done = next(rest, None)
        if done is None:
            return question
        _note(done, skipped)
    return None


def _questions(checklist: Checklist, skipped: set[DriveCheck | RouteCheck]) -> Iterator[Question]:
    """All questions in order, but for those of drives and routes passed over meanwhile.

    A drive is thrown to each position and then to the first again: where it lay before
    nobody knows, and a throw to where it lies already shows nothing.
    """
    for drive in checklist.drives:
        for number, position in enumerate((*drive.positions, drive.positions[0]), start=1):
            if drive not in skipped:
                yield Throw(drive, position, number)
    for route in checklist.routes:
        yield Stands(route)
        for other in route.refuses:
            if route not in skipped:
                yield Refuses(route, other)


def _note(done: Answered, skipped: set[DriveCheck | RouteCheck]) -> None:
    match done.question, done.answer.kind:
        case Throw(drive), "skip":
            skipped.add(drive)
        case (Stands(route), "skip") | (Refuses(route), "skip all"):
            skipped.add(route)


# ------------------------------------------------------------------- what follows

Verdict = Literal["right", "wrong way", "faulty", "not asked"]


@dataclass(frozen=True, slots=True)
class DriveFinding:
    """What was found of a drive. why: of one that is faulty, as a sentence without its
    full stop; seen: each throw and what was seen, in order."""

    drive: DriveCheck
    verdict: Verdict
    why: str
    seen: tuple[tuple[str, Answer], ...]


@dataclass(frozen=True, slots=True)
class RouteFinding:
    """What was found of a route. stands: None if it was not answered."""

    route: RouteCheck
    stands: bool | None
    refused: tuple[str, ...]
    let: tuple[str, ...]
    not_asked: tuple[str, ...]


def drive_findings(run: Run) -> tuple[DriveFinding, ...]:
    """What was found of each drive of the checklist."""
    seen: dict[str, list[tuple[str, Answer]]] = defaultdict(list)
    for done in run.answered:
        if isinstance(done.question, Throw):
            seen[done.question.drive.name].append((done.question.position, done.answer))
    return tuple(_finding(drive, seen[drive.name]) for drive in run.checklist.drives)


def _finding(drive: DriveCheck, throws: list[tuple[str, Answer]]) -> DriveFinding:
    seen = tuple(throws)
    if len(seen) <= len(drive.positions) or any(a == SKIP for _, a in seen):
        return DriveFinding(drive, "not asked", "", seen)
    first, *sure = seen
    saw = dict(sure)
    # Nothing need move when it lay there already; to lie elsewhere it must have moved.
    contradicts = NOTHING not in (first[1], saw[first[0]]) and first[1] != saw[first[0]]
    if not contradicts and all(a == Answer("lies", p) for p, a in saw.items()):
        return DriveFinding(drive, "right", "", seen)
    if not contradicts and all(a == _crossed(drive, p) for p, a in saw.items()):
        return DriveFinding(drive, "wrong way", "", seen)
    if contradicts:
        why = f"{_thrown(drive)} to {first[0]} it did not do the same both times"
    else:
        why = "; ".join(_saw(drive, p, a) for p, a in saw.items() if a != Answer("lies", p))
    return DriveFinding(drive, "faulty", why, seen)


def _crossed(drive: DriveCheck, position: str) -> Answer:
    """What is seen if the two wires of each output are swapped: positions come two to an
    output, and behind the second side of one with a single position there is nothing."""
    other = drive.positions.index(position) ^ 1
    return Answer("lies", drive.positions[other]) if other < len(drive.positions) else NOTHING


def _thrown(drive: DriveCheck) -> str:
    return "thrown" if drive.frog is None else "switched"


def _saw(drive: DriveCheck, position: str, answer: Answer) -> str:
    if drive.frog is None:
        what = "nothing moved" if answer == NOTHING else f"it lay {answer.position}"
    elif answer == NOTHING:
        what = "it had the polarity of neither rail"
    else:
        what = f"it had the polarity of {answer.position}"
    return f"{_thrown(drive)} to {position} {what}"


def route_findings(run: Run) -> tuple[RouteFinding, ...]:
    """What was found of each route of the checklist."""
    stands: dict[str, bool] = {}
    refusals: dict[str, dict[str, bool]] = defaultdict(dict)
    for done in run.answered:
        if done.answer.kind not in ("yes", "no"):
            continue
        said = done.answer == YES
        match done.question:
            case Stands(route):
                stands[route.name] = said
            case Refuses(route, other):
                refusals[route.name][other] = said
    found = []
    for route in run.checklist.routes:
        said_of = refusals[route.name]
        found.append(
            RouteFinding(
                route,
                stands.get(route.name),
                tuple(o for o in route.refuses if said_of.get(o) is True),
                tuple(o for o in route.refuses if said_of.get(o) is False),
                tuple(o for o in route.refuses if o not in said_of),
            )
        )
    return tuple(found)


def changes(run: Run) -> dict[str, bool]:
    """Of each drive that moved the wrong way, whether it is to be called crossed. Of a frog with a
    contact nothing is written: its two feed wires are swapped at the bench."""
    return {
        f.drive.name: not f.drive.crossed
        for f in drive_findings(run)
        if f.verdict == "wrong way" and not to_rewire(f.drive)
    }


def to_rewire(drive: DriveCheck) -> bool:
    """Whether only wires can put it right when it does the opposite of what it should."""
    return drive.frog is not None and not drive.frog.own


def is_sound(run: Run) -> bool:
    """Whether nothing wrong was seen that `crossed` would not put right."""
    return all(
        f.verdict != "faulty" and not (f.verdict == "wrong way" and to_rewire(f.drive))
        for f in drive_findings(run)
    ) and all(f.stands is not False and not f.let for f in route_findings(run))


def is_whole(run: Run) -> bool:
    """Whether everything was asked and answered."""
    return all(f.verdict != "not asked" for f in drive_findings(run)) and all(
        f.stands is not None and not f.not_asked for f in route_findings(run)
    )
