"""What is known of rules that are missing, or could be left out."""

from __future__ import annotations

from dataclasses import dataclass

from bellcrank.proof.repair.repair_model import Repair
from bellcrank.proof.repair.rule_edits import RuleEdits
from bellcrank.proof.repair.spare_rules import Spare


@dataclass(frozen=True, slots=True)
class RulesFound:
    """What is known of rules that are missing, or could be left out.

    righted: what was put right before anything else could be looked for, in sentences, and
        the file in which the first of it stands.
    repair, spare: None where they were not looked for, or not found soon enough.
    written: what was written, if anything.
    notes: what to say of it after the verdict.
    """

    repair: Repair | None = None
    spare: Spare | None = None
    written: RuleEdits | None = None
    notes: tuple[str, ...] = ()
    righted: tuple[str, ...] = ()
    righted_in: str = ""
