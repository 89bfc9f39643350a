"""The run through a checklist, as a state machine over questions and answers.

A run is a checklist and the answers so far; what is asked next and what was found out
follow from these. To take an answer back is to go back to the run before it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from bellcrank.commission.checks import Check, Checklist, RouteCheck
from bellcrank.commission.questions import (
    Answer,
    Answered,
    Empty,
    Question,
    Refuses,
    questions_of,
)
from bellcrank.commission.switching import drives_found


@dataclass(frozen=True, slots=True)
class Run:
    """A run: its checklist, and what was answered so far, in order."""

    checklist: Checklist
    answered: tuple[Answered, ...] = ()

    def answer(self, answer: Answer) -> Run:
        """The run after the next answer. Raises ValueError for one that is none."""
        question = next_question(self)
        if question is None or not question.takes(answer):
            raise ValueError(f"{answer} is not an answer to what is asked")
        return replace(self, answered=(*self.answered, Answered(question, answer)))

    def back(self) -> Run:
        """The run before its last answer."""
        return replace(self, answered=self.answered[:-1])


def next_question(run: Run) -> Question | None:
    """What is to be asked next; None at the end."""
    rest = iter(run.answered)
    passed_over: set[Check] = set()
    for question in _questions(run, passed_over):
        done = next(rest, None)
        if done is None:
            return question
        if not isinstance(question, Empty) and done.answer.kind in ("skip", "skip all"):
            _pass_over(question, done.answer, passed_over)
    return None


def _questions(run: Run, passed_over: set[Check]) -> Iterator[Question]:
    """All questions in order, except those of checks passed over meanwhile and of routes over
    drives that were found faulty."""
    checklist = run.checklist
    yield from _kept((*checklist.drives, *checklist.states), passed_over)
    if checklist.sections:
        yield Empty()
    yield from _kept((*checklist.sections, *checklist.cuts), passed_over)
    faulty = faulty_drives(run)
    yield from _kept([r for r in checklist.routes if not barred(r, faulty)], passed_over)


def _kept(checks: Iterable[Check], passed_over: set[Check]) -> Iterator[Question]:
    for check in checks:
        for question in questions_of(check):
            if check not in passed_over:
                yield question


def _pass_over(question: Question, answer: Answer, passed_over: set[Check]) -> None:
    """Note what is not to be asked after `skip`: all of a check, but of a route's refusals just
    the one; `skip all` passes over those too."""
    assert not isinstance(question, Empty)
    if answer.kind == "skip all" or not isinstance(question, Refuses):
        passed_over.add(question.check)


def faulty_drives(run: Run) -> frozenset[str]:
    """The drives and frogs that were found faulty."""
    found = drives_found(run.checklist.drives, run.answered)
    return frozenset(f.check.name for f in found if f.verdict == "faulty")


def barred(route: RouteCheck, faulty: frozenset[str]) -> tuple[str, ...]:
    """The faulty drives of a route: while there are any, it is not to be set."""
    return tuple(drive for drive, _ in route.positions if drive in faulty)
