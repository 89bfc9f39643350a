"""What `check` says of rules: those that are missing, written if that is asked for, and
those that are not wanted.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypedDict

from bellcrank.compilation import Checked
from bellcrank.machine.wording import Rule, rule_text, rule_with_place
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.proof.repair.missing_rules import Progress, Repair, missing_rules
from bellcrank.proof.repair.rule_edits import RuleEdits, rule_edits, written_block
from bellcrank.proof.repair.spare_rules import Spare, spare_rules
from bellcrank.syntax.rewrite import rewrite

SECONDS_FOR_FIX = 300.0
"""For finding what is missing, unless a time limit is given."""

SECONDS_FOR_PROPOSAL = 10.0
"""For finding what is missing where nobody has asked for it."""

MOST_ROUTES = 200
"""On larger layouts what is missing is looked for only when somebody asks."""


@dataclass(frozen=True, slots=True)
class RulesFound:
    """What is known of rules that are missing, or could be left out.

    repair, spare: None where they were not looked for, or not found soon enough.
    written: what was written, if anything.
    notes: what to say of it after the verdict.
    """

    repair: Repair | None = None
    spare: Spare | None = None
    written: RuleEdits | None = None
    notes: tuple[str, ...] = ()


def propose(c: Checked, seconds: float, tell: Progress | None) -> RulesFound:
    """The rules that refuted written locking lacks, if they are soon found."""
    if c.outcome != "refuted" or written_block(c.program) is None or _interrupted(c):
        return RulesFound()
    if len(c.table.routes) > MOST_ROUTES:
        return RulesFound()
    repair = _missing(c, seconds, tell)
    return RulesFound(repair=None if repair.stopped else repair)


def fix(c: Checked, file: Path, seconds: float, tell: Progress | None) -> RulesFound:
    """Write the rules that written locking lacks into the files of a layout.

    Raises NotAsReadError and OSError as `rewrite` does.
    """
    block = written_block(c.program)
    if block is None:
        said = "nothing to fix: the locking is derived and lacks no rule"
        if not c.proved:
            said += "; what fails is not for a rule to mend"
        return RulesFound(notes=(said,))
    if c.proved:
        return RulesFound(notes=("nothing to fix: everything is proved",))
    repair = None if _interrupted(c) else _missing(c, seconds, tell)
    if repair is None or repair.stopped:
        said = "nothing is written: the search was stopped before the missing rules were found"
        return RulesFound(notes=(said,))
    still = tuple(f"still open: {sentence}" for sentence in repair.open)
    if not repair.mends:
        said = "nothing is written: no rules were found that help"
        return RulesFound(repair=repair, notes=(said, *still))
    written = rule_edits(block, repair.rules)
    rewrite(c.program, file, written.files, written.edit)
    notes = [f"added to {block.span.file}:"] if written.lines else []
    notes += [f"  {line}" for line in written.lines]
    notes += [f"put right: {sentence}" for sentence in written.replaced]
    if not repair.smallest:
        notes.append("fewer rules might do, but no proof was found with fewer")
    return RulesFound(repair=repair, written=written, notes=(*notes, *still))


def spare(c: Checked, seconds: float | None, tell: Progress | None) -> RulesFound:
    """The written rules that could be left out, all together."""
    if not c.proved:
        said = "which rules could be left out can be said only of locking that is proved"
        return RulesFound(notes=(said,))
    found = spare_rules(c.program, c.layout, c.table, c.locking, Effort(seconds=seconds), tell)
    notes = ["these rules could be left out, all together:"] if found.rules else []
    notes += [f"  {rule_with_place(rule)}" for rule in found.rules]
    if not notes:
        notes = ["no written rule could be left out"]
    if not found.complete:
        notes.append("there may be more: not every rule could be tried to the end")
    return RulesFound(spare=found, notes=tuple(notes))


class PlacedRule(TypedDict):
    """A rule and where it is written; a derived one is written nowhere."""

    rule: str
    place: str | None


class MissingRule(TypedDict):
    """A rule and the places of those that it would replace."""

    rule: str
    instead_of: list[str]


class Fixed(TypedDict):
    """What was written into the files of a layout."""

    file: str
    added: list[str]
    replaced: list[str]


class RulesData(TypedDict):
    """Rules found, for JSON; None for what was not looked for or not found."""

    missing_rules: list[MissingRule] | None
    redundant_rules: list[PlacedRule] | None
    fixed: Fixed | None
    barred_routes: dict[str, list[PlacedRule]]


def rules_data(found: RulesFound, barred: Mapping[str, Sequence[Rule]]) -> RulesData:
    """Rules found, for JSON.

    barred: of routes that can never be set, the rules that make it so.
    """
    return {
        "missing_rules": None if found.repair is None else _missing_data(found.repair),
        "redundant_rules": None if found.spare is None else _placed(found.spare.rules),
        "fixed": None if found.written is None else _fixed(found.written),
        "barred_routes": {name: _placed(rules) for name, rules in barred.items()},
    }


def _missing_data(repair: Repair) -> list[MissingRule]:
    return [
        {"rule": rule_text(m.rule), "instead_of": [str(wrong.span) for wrong in m.instead_of]}
        for m in repair.rules
        if repair.mends
    ]


def _fixed(written: RuleEdits) -> Fixed:
    return {
        "file": written.block.span.file,
        "added": list(written.lines),
        "replaced": list(written.replaced),
    }


def _placed(rules: Iterable[Rule]) -> list[PlacedRule]:
    return [
        {"rule": rule_text(rule), "place": str(rule.span) if rule.span else None} for rule in rules
    ]


def _interrupted(c: Checked) -> bool:
    """Whether the user has had enough."""
    return c.moving.stopped == "by Ctrl-C"


def _missing(c: Checked, seconds: float, tell: Progress | None) -> Repair:
    effort = Effort(seconds=seconds)
    return missing_rules(c.layout, c.table, c.locking, c.moving, effort, tell)
