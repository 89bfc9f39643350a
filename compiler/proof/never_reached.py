"""That something never is the case, whatever happens: shown by induction, as `never with` is.

What is asked becomes a property of the machine like any other, and the moving proof decides it
from every start that the machine may have. The machine's own properties are candidates beside its
lemmas then, and are relied on only as far as they are shown themselves.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import product
from math import prod

from bellcrank.machine.machine_model import Clause, Invariant, Is, Machine
from bellcrank.proof.moving.moving_proof import Effort, Progress, prove_moving

MOST_CLAUSES = 500
"""Clauses that may be needed to say that something is not the case."""

_NAME = "never"


def never_reached(
    machine: Machine,
    ways: Sequence[Sequence[Clause]],
    seconds: float,
    progress: Progress | None = None,
) -> bool:
    """Whether it is shown that in no reachable state all clauses of any of these ways hold.

    seconds: a limit. False says nothing: it may never be the case all the same.
    """
    if sum(prod(map(len, way)) for way in ways) > MOST_CLAUSES:
        return False
    stated = tuple(
        Invariant(_NAME, clause, "it is the case") for way in ways for clause in _not(machine, way)
    )
    if not stated:
        return True
    asked = replace(
        machine,
        invariants=stated,
        wishes=(),
        lemmas=(*machine.lemmas, *(invariant.clause for invariant in machine.invariants)),
        properties={_NAME: "it is never the case"},
    )
    verdict = prove_moving(asked, Effort(seconds=seconds, search=1), progress)
    return verdict.outcome == "proved"


def _not(machine: Machine, way: Iterable[Clause]) -> Iterator[Clause]:
    """Clauses that all hold where some clause of a way does not: in each, of every clause one
    literal is denied."""
    for literals in product(*way):
        denied = (
            Is(x.variable, frozenset(machine.variables[x.variable].values) - x.values)
            for x in literals
        )
        yield tuple(denied)
