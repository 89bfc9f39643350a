"""Moving proofs that give up early, for those who try many sets of rules.

Each is a proof like any other with a step left out. What that step would have decided is
undecided, so nothing is proved or refuted that the whole proof would not.
"""

from __future__ import annotations

from collections.abc import Iterable

from bellcrank.proof.moving.induction import Induction
from bellcrank.proof.moving.moving_proof import Moving
from bellcrank.proof.verdict import MovingVerdict
from bellcrank.running.packed import PackedClause


class Brief(Moving):
    """A proof that leaves out what takes longest; what is open then is undecided."""

    def settle(self, further: Iterable[PackedClause], *, thorough: bool = False) -> None:
        """Done if it is cheap."""
        if not thorough:
            Moving.settle(self, further)

    def horn(self) -> None:
        """Not asked."""


class InductionAlone(Brief):
    """A proof that looks for no story, where that has been done already."""

    def look_soon(self, induction: Induction) -> None:
        """Not done."""

    def look(self) -> None:
        """Not done."""


def proved_names(moving: MovingVerdict) -> frozenset[str]:
    """The properties and expectations that hold."""
    return frozenset(r.name for r in moving.results if r.outcome in ("proved", "shown"))
