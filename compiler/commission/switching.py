"""What follows of drives, frogs, signals and outputs from what was seen when they were switched."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from bellcrank.commission.checks import DriveCheck, StateCheck
from bellcrank.commission.questions import NOTHING, SKIP, Answer, Answered, Show, Throw

Verdict = Literal["right", "wrong way", "faulty", "not asked"]

Seen = tuple[tuple[str, Answer], ...]
"""Each position or state that was asked for and what was seen, in order."""


@dataclass(frozen=True, slots=True)
class Switched:
    """What was found of a drive or frog. why: of one that is faulty, as a sentence without its
    full stop."""

    check: DriveCheck
    verdict: Verdict
    why: str
    seen: Seen


@dataclass(frozen=True, slots=True)
class Shown:
    """What was found of a signal or output. why: of one that is faulty; swapped: of one that goes
    the wrong way, what it shows instead, by what was asked for."""

    check: StateCheck
    verdict: Verdict
    why: str
    swapped: tuple[tuple[str, str], ...]
    seen: Seen


# -------------------------------------------------------------------------- drives


def drives_found(
    checks: Iterable[DriveCheck], answered: Iterable[Answered]
) -> tuple[Switched, ...]:
    """What was found of each drive and frog."""
    seen: dict[str, list[tuple[str, Answer]]] = defaultdict(list)
    for question, answer in answered:
        if isinstance(question, Throw):
            seen[question.check.name].append((question.position, answer))
    return tuple(_switched(check, tuple(seen[check.name])) for check in checks)


def _switched(drive: DriveCheck, seen: Seen) -> Switched:
    if not _whole(drive.positions, seen):
        return Switched(drive, "not asked", "", seen)
    first, *sure = seen
    saw = dict(sure)
    # Nothing need move when it lay there already; to lie elsewhere it must have moved.
    contradicts = NOTHING not in (first[1], saw[first[0]]) and first[1] != saw[first[0]]
    if not contradicts and all(a == Answer("lies", p) for p, a in saw.items()):
        return Switched(drive, "right", "", seen)
    if not contradicts and all(a == _crossed(drive, p) for p, a in saw.items()):
        return Switched(drive, "wrong way", "", seen)
    if contradicts:
        why = f"{_thrown(drive)} to {first[0]} it did not do the same both times"
    else:
        why = "; ".join(_saw(drive, p, a) for p, a in saw.items() if a != Answer("lies", p))
    return Switched(drive, "faulty", why, seen)


def _whole(states: Sequence[str], seen: Seen) -> bool:
    return len(seen) > len(states) and all(answer != SKIP for _, answer in seen)


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


def to_rewire(drive: DriveCheck) -> bool:
    """Whether only wires can put it right when it does the opposite of what it should."""
    return drive.frog is not None and not drive.frog.own


# ----------------------------------------------------------- signals and other outputs


def states_found(checks: Iterable[StateCheck], answered: Iterable[Answered]) -> tuple[Shown, ...]:
    """What was found of each signal and each output for something else."""
    seen: dict[StateCheck, list[tuple[str, Answer]]] = defaultdict(list)
    for question, answer in answered:
        if isinstance(question, Show):
            seen[question.check].append((question.state, answer))
    return tuple(_shown(check, tuple(seen[check])) for check in checks)


def _shown(check: StateCheck, seen: Seen) -> Shown:
    if not _whole(check.states, seen):
        return Shown(check, "not asked", "", (), seen)
    saw = dict(seen)
    # Its first state was asked for twice; a lamp shows each time what it shows.
    if seen[0][1] != seen[-1][1] and not _lay_there(check, seen):
        why = f"switched to {check.states[0]} it did not do the same both times"
        return Shown(check, "faulty", why, (), seen)
    wrong = tuple((s, a.position) for s, a in saw.items() if a != Answer("lies", s))
    if not wrong:
        return Shown(check, "right", "", (), seen)
    if {asked for asked, _ in wrong} == {shown for _, shown in wrong}:
        return Shown(check, "wrong way", "", wrong, seen)
    nothing = "it stayed dark" if check.device == "signal" else "nothing happened"
    why = "; ".join(
        f"switched to {asked} " + (f"it was at {shown}" if shown else nothing)
        for asked, shown in wrong
    )
    return Shown(check, "faulty", why, (), seen)


def _lay_there(check: StateCheck, seen: Seen) -> bool:
    """Whether something other than a signal may have been in its first state already."""
    return check.device == "output" and seen[0][1] == NOTHING
