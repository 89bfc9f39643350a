"""What `check` says of rules: those that are missing, written if that is asked for, and
those that are not wanted.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

from bellcrank.compilation import Broken, Checked, Sound
from bellcrank.diagnostics import Instead
from bellcrank.machine.wording import rule_with_place
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.proof.repair.missing_rules import missing_rules
from bellcrank.proof.repair.repair_model import MOST_ROUTES_UNASKED, Progress
from bellcrank.proof.repair.rule_edits import rule_edits, written_block
from bellcrank.proof.repair.rules_found import RulesFound
from bellcrank.proof.repair.spare_rules import spare_rules
from bellcrank.syntax.insert import edited, word_for
from bellcrank.syntax.rewrite import rewrite

BOTH_WAYS = "E503"
"""Of a route that would need a drive in two positions."""

NOTHING_TO_FIX = "nothing to fix: everything is proved"

SECONDS_FOR_FIX = 300.0
"""For finding what is missing, unless a time limit is given."""


class Righted(NamedTuple):
    """What was put right in rules that contradict each other, in sentences, and the file in
    which the first of it stands."""

    sentences: tuple[str, ...]
    file: str


def propose(c: Checked, seconds: float, tell: Progress | None) -> RulesFound:
    """The rules that refuted written locking lacks, if they are soon found."""
    if not c.refuted or written_block(c.program) is None or c.moving.interrupted:
        return RulesFound()
    if len(c.table.routes) > MOST_ROUTES_UNASKED:
        return RulesFound()
    effort = Effort(seconds=seconds)
    try:
        repair = missing_rules(c.layout, c.table, c.locking, c.moving, effort, tell)
    except KeyboardInterrupt:
        return RulesFound()
    return RulesFound(repair=None if repair.stopped else repair)


def mend(c: Sound, file: Path, seconds: float, tell: Progress | None) -> RulesFound:
    """Write the rules that written locking lacks into the files of a layout, which must
    then be read anew.

    Raises NotAsReadError and OSError as `rewrite` does.
    """
    block = written_block(c.program)
    if block is None:
        return RulesFound()
    effort = Effort(seconds=seconds)
    repair = missing_rules(c.layout, c.table, c.locking, None, effort, tell)
    if not repair.mends:
        return RulesFound(repair=repair)
    written = rule_edits(block, repair.rules)
    rewrite(c.program, file, written.files, written.edit)
    return RulesFound(repair=repair, written=written)


def put_right(c: Broken, file: Path) -> Righted:
    """Give the rules that need a drive otherwise than the track does the right position, where
    they stand: with two rules that contradict each other nothing can be proved.

    The layout must then be read anew. Raises NotAsReadError and OSError as `rewrite` does.
    """
    wrong = {
        d.span: d.hint
        for d in c.diagnostics
        if d.code == BOTH_WAYS and isinstance(d.hint, Instead) and d.hint.right
    }
    if not wrong:
        return Righted((), "")

    def edit(name: str, text: str) -> str:
        return edited(
            text,
            [
                word_for(text, span, hint.wrong, hint.right)
                for span, hint in wrong.items()
                if span.file == name
            ],
        )

    files = list(dict.fromkeys(span.file for span in wrong))
    rewrite(c.program, file, files, edit)
    said = (
        f"`{hint.wrong}` at {replace(span, column=span.end_column - len(hint.wrong))} "
        f"is now `{hint.right}`"
        for span, hint in wrong.items()
    )
    return Righted(tuple(said), files[0])


def with_righted(found: RulesFound | None, righted: Righted) -> RulesFound | None:
    """What was found, told after what was put right before."""
    if not righted.sentences:
        return found
    found = found or RulesFound()
    later = tuple(note for note in found.notes if note != NOTHING_TO_FIX)
    notes = (*(f"put right: {sentence}" for sentence in righted.sentences), *later)
    return replace(found, notes=notes, righted=righted.sentences, righted_in=righted.file)


def mended(found: RulesFound, c: Checked) -> RulesFound:
    """What was mended, with what to say of it.

    c: the verdict on the text as it is now. What is said to be open is so there.
    """
    if written_block(c.program) is None:
        said = "nothing to fix: the locking is derived and lacks no rule"
        if not c.proved:
            said += "; what fails is not for a rule to mend"
        return RulesFound(notes=(said,))
    if found.written is None and c.proved:
        return RulesFound(notes=(NOTHING_TO_FIX,))
    repair, written = found.repair, found.written
    if repair is None or repair.stopped:
        said = "nothing is written: the search was stopped before the missing rules were found"
        return RulesFound(notes=(said,))
    holds = _holding(c)
    still = tuple(f"still open: {u.text}" for u in repair.open if u.name not in holds)
    if written is None:
        said = "nothing is written: no rules were found that help"
        return RulesFound(repair=repair, notes=(said, *still))
    notes = [f"added to {written.block.span.file}:"] if written.lines else []
    notes += [f"  {line}" for line in written.lines]
    notes += [f"put right: {sentence}" for sentence in written.replaced]
    if not repair.smallest:
        notes.append("fewer rules might do, but no proof was found with fewer")
    return RulesFound(repair=repair, written=written, notes=(*notes, *still))


def _holding(c: Checked) -> set[str]:
    """The properties and expectations that are proved, by their names."""
    outcomes: list[tuple[str, str]] = [(p.name, p.outcome) for p in c.standing.properties]
    outcomes += [(e.name, e.outcome) for e in c.standing.expectations]
    outcomes += [(r.name, r.outcome) for r in c.moving.results]
    failing = {name for name, outcome in outcomes if outcome not in ("proved", "shown")}
    return {name for name, _ in outcomes} - failing


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
