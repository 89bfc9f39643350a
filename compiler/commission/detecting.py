"""What follows of sections, their detectors and gaps from what was reported.

A vehicle in a section is to be reported by that section's input and no other. Where it is reported
by one other alone, the layout and the wires disagree about inputs, and the layout can be put
right if no two sections would then have one input. Where the next section is reported as well,
the gap between them is missing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from bellcrank.commission.checks import Checklist, CutCheck, SectionCheck
from bellcrank.commission.questions import YES, Answered, Empty, Parted, Push
from bellcrank.commission.run import Run
from bellcrank.layout.detectors import Input
from bellcrank.routes.sentences import listed

Verdict = Literal["right", "other input", "faulty", "not asked"]


@dataclass(frozen=True, slots=True)
class SectionFound:
    """What was found of a section.

    heard: what reported it; None if that was not answered.
    to: the input that the layout is to have for it, if another than it has.
    why: of one that is faulty, as a sentence without its full stop.
    """

    check: SectionCheck
    verdict: Verdict
    why: str
    heard: frozenset[Input] | None
    to: Input | None = None


@dataclass(frozen=True, slots=True)
class CutFound:
    """What was found of a joint at a reverser. cut: None if it was not answered."""

    check: CutCheck
    cut: bool | None


@dataclass(frozen=True, slots=True)
class Heard:
    """What reported something: with nothing on the track, and by the section of the vehicle.
    Each None, or left out, if it was not answered."""

    empty: frozenset[Input] | None
    by_section: Mapping[str, frozenset[Input]]


def sections_found(run: Run) -> tuple[SectionFound, ...]:
    """What was found of each section of the checklist."""
    checklist, heard = run.checklist, _heard(run.answered)
    moved = inputs_moved(run)
    return tuple(_section(check, checklist, heard, moved) for check in checklist.sections)


def always_on(run: Run) -> tuple[str, ...]:
    """What was reported with nothing on the track, in words."""
    return tuple(sorted(_words(i, run.checklist) for i in _heard(run.answered).empty or ()))


def empty_was_asked(run: Run) -> bool:
    """Whether it is known what is reported with nothing on the track, if that matters."""
    return not run.checklist.sections or _heard(run.answered).empty is not None


def _heard(answered: tuple[Answered, ...]) -> Heard:
    empty = None
    by_section = {}
    for question, answer in answered:
        if answer.kind != "reported":
            continue
        if isinstance(question, Empty):
            empty = answer.inputs
        elif isinstance(question, Push):
            by_section[question.check.name] = answer.inputs
    return Heard(empty, by_section)


def inputs_moved(run: Run) -> dict[str, Input]:
    """The sections whose input in the layout is to be another, with that one.

    Of several that would then have one input none is moved; nor is one to an input that
    reports something else.
    """
    checklist, heard = run.checklist, _heard(run.answered)
    own = {check.name: check.input for check in checklist.sections if check.input is not None}
    moved: dict[str, Input] = {}
    for name, before in own.items():
        now = heard.by_section.get(name, frozenset()) - (heard.empty or frozenset())
        if len(now) == 1 and before not in now:
            (moved[name],) = now
    while True:
        users = Counter(_with_those_not_asked(checklist, own | moved))
        doubled = {name for name, to in moved.items() if users[to] > 1}
        if not doubled:
            return moved
        moved = {name: to for name, to in moved.items() if name not in doubled}


def _with_those_not_asked(checklist: Checklist, inputs: Mapping[str, Input]) -> list[Input]:
    """The inputs that are in use once sections have these: with those of sections that are not on
    the checklist, of drives and of buttons."""
    asked = {check.name for check in checklist.sections}
    others = [to for to, what in checklist.taken.items() if what not in asked]
    return [*inputs.values(), *others]


def _section(
    check: SectionCheck, checklist: Checklist, heard: Heard, moved: Mapping[str, Input]
) -> SectionFound:
    seen = heard.by_section.get(check.name)
    if seen is None:
        return SectionFound(check, "not asked", "", None)
    if check.input is not None and check.input in (heard.empty or ()):
        return SectionFound(check, "faulty", "it is reported with nothing on the track", seen)
    now = seen - (heard.empty or frozenset())
    right = frozenset([check.input] if check.input is not None else ())
    if now == right and (check.input is not None or not check.detected):
        return SectionFound(check, "right", "", seen)
    if check.name in moved:
        return SectionFound(check, "other input", "", seen, moved[check.name])
    return SectionFound(check, "faulty", _why(check, checklist, now, right), seen)


def _why(
    check: SectionCheck, checklist: Checklist, now: frozenset[Input], right: frozenset[Input]
) -> str:
    said = []
    if check.detected and check.input is None and len(now) == 1:
        (only,) = now
        if only in checklist.free:
            return f"it is reported on {only}; write `report {check.name} = {only}` into the layout"
    if right - now:
        said.append("it is not reported: no feed, a loose wire, or another input")
    for other in sorted(now - right, key=str):
        name = checklist.taken.get(other)
        joints = [f"{j.here} and {j.there}" for j in check.joints if j.beyond == name]
        if name is None:
            said.append(f"{other} is reported, on which the layout has nothing")
        elif joints and (right <= now):
            said.append(
                f"{name} is reported as well: cut the rails between {listed(joints)}, or part "
                "the wires of the two"
            )
        else:
            said.append(f"{name} is reported, at {other}: its wires and those of {check.name} "
                        "are to be looked at")  # fmt: skip
    return "; ".join(said) or "nothing is reported"


def _words(input_: Input, checklist: Checklist) -> str:
    return f"{checklist.taken[input_]} ({input_})" if input_ in checklist.taken else str(input_)


# ---------------------------------------------------------------- gaps at reversers


def cuts_found(run: Run) -> tuple[CutFound, ...]:
    """What was found of each joint at a reverser."""
    said = {
        question.check: answer == YES
        for question, answer in run.answered
        if isinstance(question, Parted) and answer.kind in ("yes", "no")
    }
    return tuple(CutFound(check, said.get(check)) for check in run.checklist.cuts)
