"""How the command `rehearse` finds moves: what it asks in which order, and what it tells."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from bellcrank.commands.exit_statuses import PROVED, REFUTED, UNDECIDED
from bellcrank.diagnostics import Diagnostic
from bellcrank.document.found_moves_data import FoundMoves
from bellcrank.document.report_data import diagnostics_data
from bellcrank.proof.never_reached import never_reached
from bellcrank.rehearsal.acts import Moment
from bellcrank.rehearsal.finding import Finding, NotThereError, find, unsafe_on
from bellcrank.rehearsal.found_lines import expectations_of, lines_of_run
from bellcrank.rehearsal.goals import MOST_WAYS, TooManyWaysError
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.script import Line
from bellcrank.running.shortest_run import GivenUp, NoRun, Run

SECONDS = 60.0
"""For which moves are looked for if nothing else is said."""

Tell = Callable[[str], None] | None

Because = Literal["nothing leads there", "all states were looked at", "induction"]

_WHY_NONE: dict[Because, str] = {
    "nothing leads there": "nothing that may happen leads there, even if all that has once been "
    "so stayed so",
    "all states were looked at": "every state that can be come to was looked at",
    "induction": "a solver has shown that it is never so, whatever happens",
}

_MANY_WAYS = f"it can hold in more than {MOST_WAYS:,} ways; ask for less at once"


@dataclass(frozen=True, slots=True)
class Moves:
    """What came of a search.

    lines: of a script that leads there, with what it expects at the end; None if none was found.
    acts: how many requests and moves it takes. at_least: how many any run takes.
    because: how it is known that there is none; None if it is not known.
    unsafe: what the run comes to that must never be; None if nothing.
    """

    goal: tuple[str, ...]
    lines: tuple[str, ...] | None
    acts: int
    at_least: int
    because: Because | None
    states: int
    unsafe: str | None = None

    @property
    def status(self) -> int:
        if self.lines is not None:
            return PROVED if self.unsafe is None else REFUTED
        return UNDECIDED if self.because is None else REFUTED


def find_moves(
    railway: Railway,
    moment: Moment,
    conditions: Sequence[Line],
    *,
    by_hand: bool,
    seconds: float,
    tell: Tell = None,
) -> Moves:
    """Look for the fewest requests and moves that lead from a moment to where all conditions hold.

    Raises ValueError, with a sentence, of what cannot be looked for.
    """
    try:
        finding = find(railway, moment.state, conditions, by_hand=by_hand)
    except NotThereError:
        raise
    except TooManyWaysError:
        raise ValueError(_MANY_WAYS) from None
    goal = tuple(line.text for line in conditions)
    answer = _answer(finding, seconds, tell)
    if isinstance(answer, Run):
        run = finding.own_run(answer)
        lines = (*lines_of_run(railway, moment, run, conditions), *expectations_of(conditions))
        unsafe = unsafe_on(railway, moment.state, run)
        return Moves(goal, lines, answer.count, answer.at_least, None, answer.states, unsafe)
    if isinstance(answer, GivenUp):
        return Moves(goal, None, 0, answer.at_least, None, answer.states)
    return Moves(goal, None, 0, 0, answer.because, answer.states)


@dataclass(frozen=True, slots=True)
class _None:
    """That there is no run, as a search or a solver has found."""

    because: Because
    states: int


def _answer(finding: Finding, seconds: float, tell: Tell) -> Run | _None | GivenUp:
    """The quickest way to an answer first: a bounded search for some seconds; then a proof that
    there is none; then any run, or all states; then the bounded search again."""
    began = time.monotonic()
    search = finding.search

    def until(part: float) -> float:
        return began + part * seconds

    answer = search.go_on(min(until(0.4), began + 5.0), _telling(tell))
    if not isinstance(answer, GivenUp):
        return _of(answer)
    machine = finding.railway.machine
    left = max(0.0, until(0.4) - time.monotonic())
    if not finding.follows and never_reached(machine, finding.goal, left, tell):
        return _None("induction", answer.states)
    answer = search.go_on(until(0.5), _telling(tell))
    if not isinstance(answer, GivenUp):
        return _of(answer)
    all_states = search.without_bound()
    answer = all_states.go_on(until(0.7), _telling(tell))
    if not isinstance(answer, GivenUp):
        return _of(answer)
    at_least = max(search.at_least, all_states.at_least)
    hurried = search.in_a_hurry().go_on(until(1.0), _telling(tell))
    states = search.states + all_states.states + hurried.states
    if isinstance(hurried, Run):
        return replace(hurried, at_least=max(at_least, hurried.at_least), states=states)
    return GivenUp(at_least, states) if isinstance(hurried, GivenUp) else _of(hurried)


def _of(answer: Run | NoRun) -> Run | _None:
    return answer if isinstance(answer, Run) else _None(answer.because, answer.states)


def _telling(tell: Tell) -> Callable[[int, int], None] | None:
    if tell is None:
        return None
    return lambda states, least: tell(
        f"looking for moves: {states:,} states, no run of fewer than {least}"
    )


# -------------------------------------------------------------------- telling


def in_words(moves: Moves) -> Iterator[str]:
    """What came of a search, in lines for people."""
    if moves.lines is not None:
        yield _how_many(moves)
        yield from (f"  {line}" for line in moves.lines if not line.startswith("expect "))
        if moves.unsafe is not None:
            yield (
                f"On the way something is unsafe: {moves.unsafe}. The locking lets it happen; "
                "`bellcrank check` says why."
            )
        return
    if moves.because is not None:
        yield f"There is no way there: {_WHY_NONE[moves.because]}."
        return
    yield (
        f"Undecided: none was found. There is no run of fewer than "
        f"{_counted(moves.at_least)}, and {moves.states:,} states were looked at; "
        "--time-limit SECONDS looks for longer."
    )


def _how_many(moves: Moves) -> str:
    if not moves.acts:
        return "It is so already, or comes to be so of itself:"
    if moves.acts == moves.at_least:
        return f"{_counted(moves.acts)}, and no run has fewer:"
    return (
        f"{_counted(moves.acts)}, which may not be the fewest; no run has fewer than "
        f"{moves.at_least}:"
    )


def _counted(acts: int) -> str:
    return "1 request or move" if acts == 1 else f"{acts} requests and moves"


def as_script(moves: Moves, title: str, beginning: str, by_hand: bool) -> str:
    """A script that leads to what is wished: what was played first, then what was found."""
    lines = [beginning.rstrip("\n")] if beginning.strip() else []
    lines.append(f"# {title}: to `{' and '.join(moves.goal)}`, found by")
    lines.append(f"# rehearse --find{' --by-hand' * by_hand}. {_how_many(moves)}")
    return "".join(f"{line}\n" for line in (*lines, *(moves.lines or ())))


def as_json(moves: Moves, diagnostics: Sequence[Diagnostic]) -> FoundMoves:
    """What came of a search, as `--json` tells it."""
    found = moves.lines is not None
    return FoundMoves(
        status="found" if found else "undecided" if moves.because is None else "none",
        diagnostics=diagnostics_data(diagnostics),
        goal=list(moves.goal),
        acts=moves.acts if found else None,
        at_least=None if moves.because is not None else moves.at_least,
        because=moves.because,
        script=list(moves.lines or ()),
        states=moves.states,
        unsafe=moves.unsafe,
    )


def nothing_found(diagnostics: Sequence[Diagnostic], goal: str) -> FoundMoves:
    """That nothing was looked for, because of errors."""
    return FoundMoves("error", diagnostics_data(diagnostics), [goal], None, None, None, [], 0, None)
