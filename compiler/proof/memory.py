"""What a process that proves again and again remembers: one thing to hand to whoever proves."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from bellcrank.machine.machine_model import Machine
from bellcrank.machine.sharing import Shared
from bellcrank.proof.kept.event_by_event import LastInduction
from bellcrank.proof.kept.kept_model import InMemory
from bellcrank.proof.kept.revising import LastProof
from bellcrank.proof.moving.moving_proof import Effort

MOST_SHARED = 2
"""Events of the last machine and those before it that are shared, for each of the last: most of
them are gone then, and the next machine begins anew."""


@dataclass(slots=True)
class Memory:
    """kept: where answers are kept. induction: that of the last proof, proved or not. proof: the
    last. shared: what the machines of all have in common.
    """

    kept: InMemory
    induction: LastInduction = field(default_factory=LastInduction)
    proof: LastProof = field(default_factory=LastProof)
    shared: Shared = field(default_factory=Shared)

    def used_by(self, effort: Effort) -> Effort:
        """An effort that looks at what is remembered, and adds to it."""
        return replace(effort, kept=self.kept, induction=self.induction, proof=self.proof)

    def built(self, machine: Machine) -> None:
        """Forget what machines share if most of it is of none any more."""
        if len(self.shared.events) > MOST_SHARED * len(machine.events):
            self.shared = Shared()

    def settle(self) -> None:
        """Remember what was shown, now that it is told."""
        self.kept.settle()
        self.induction.settle()
        self.proof.settle()
