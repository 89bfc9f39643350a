"""The proof of controller and railway together, and that no report leaves a doubt.

What was shown of the machine alone is taken over where the two are shown to do nothing that the
machine may not do (`controller/following.py`). If that leaves anything open, everything is proved
of them without it.
"""

from __future__ import annotations

import time
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from itertools import combinations, pairwise

from bellcrank.controller.build_controller import build_controller
from bellcrank.controller.controller_model import Controller, Reaction
from bellcrank.controller.following import following
from bellcrank.controller.reactions import Control
from bellcrank.machine.collecting import collected_seldom
from bellcrank.machine.machine_model import Machine
from bellcrank.proof.moving.moving_proof import (
    Effort,
    Moving,
    Progress,
    Shown,
    TakenOver,
    prove_moving,
)
from bellcrank.proof.moving.shapes import Shape, shape_of
from bellcrank.proof.moving.solving import Solving
from bellcrank.proof.verdict import MovingOutcome, MovingResult, MovingVerdict
from bellcrank.running.packed import Encoding

NO_DOUBT = "each report means one thing: no two reactions to one input are possible at once"


def prove_controlled(
    control: Control,
    composed: Machine,
    effort: Effort,
    progress: Progress | None = None,
    *,
    shown: Shown | None = None,
) -> MovingVerdict:
    """Decide every property of the controller and the railway that it sees through reports.

    composed: the two as one machine, as `compose` makes it.
    shown: what was shown of the layout's machine without them. It spares much of the proof, and
        changes nothing in what it says.
    Raises NoSolverError if a recheck is asked for and the second solver is not installed.
    """
    begun = time.monotonic()
    verdict = None
    if shown is not None and shown.clauses:
        verdict = proved_by_following(control, composed, shown, effort, progress)
    if verdict is None:
        if effort.seconds is not None:
            left = max(0.0, effort.seconds - (time.monotonic() - begun))
            effort = replace(effort, seconds=left)
        verdict = prove_moving(composed, effort, progress)
    if verdict.interrupted:
        return verdict
    known = verdict.unsolvable.union(() if shown is None else shown.answered)
    doubt = _no_doubt(build_controller(control), composed, known)
    return replace(
        verdict,
        results=(*verdict.results, doubt),
        obligations=verdict.obligations + doubt.obligations,
    )


@collected_seldom()
def proved_by_following(
    control: Control,
    composed: Machine,
    shown: Shown,
    effort: Effort,
    progress: Progress | None = None,
) -> MovingVerdict | None:
    """The verdict with the help of what was shown of the machine alone, if all is proved so (or
    the user has had enough); None if it is not."""
    found = following(control, composed, shown.machine)
    if found is None:
        return None
    taken_over = TakenOver(shown, found.asked)
    moving = Moving(found.machine, effort, progress or (lambda _: None), taken_over)
    verdict = moving.verdict()
    proved = moving.followed() and verdict.outcome == "proved"
    return verdict if proved or verdict.interrupted else None


def _no_doubt(
    controller: Controller, machine: Machine, answered: Collection[Shape]
) -> MovingResult:
    """That of the reactions to each input at most one is possible, in any state. answered: shapes
    that z3 has found to have no solution."""
    encoding = Encoding(machine.variables)
    asked: dict[Shape, str] = {}
    count = 0
    for of, found in controller.inputs.items():
        for one, other in _pairs(found, encoding):
            count += 1
            said = f"{of.kind} {of.of}: {one.name}, or {other.name}"
            guards = [encoding.clause(clause) for clause in (*one.guard, *other.guard)]
            asked.setdefault(shape_of(guards, encoding.full), said)
    answers = dict(zip(asked, Solving("z3", known=answered)(list(asked)), strict=True))
    open_ = tuple(said for shape, said in asked.items() if answers[shape] != "unsat")
    outcome: MovingOutcome = "proved"
    if open_:
        outcome = "refuted" if "sat" in answers.values() else "undecided"
    return MovingResult("doubts", NO_DOUBT, outcome, count, None, open_)


def _pairs(
    reactions: Sequence[Reaction], encoding: Encoding
) -> Iterator[tuple[Reaction, Reaction]]:
    """The pairs of reactions that have to exclude each other. Where each begins with values
    of one variable that the one before it does not have, nor any other, neighbours will do."""
    heads = [encoding.clause(reaction.guard[0]) for reaction in reactions if reaction.guard]
    variables = {head[0][0] for head in heads if len(head) == 1}
    taken = 0
    apart = len(heads) == len(reactions) and len(variables) == 1
    for head in heads if apart else ():
        ((_, mask), *more) = head
        apart = apart and not more and not mask & taken
        taken |= mask
    yield from pairwise(reactions) if apart else combinations(reactions, 2)
