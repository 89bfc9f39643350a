"""Rules that are missing, put into the files of a layout, and rules that are not wanted.

What is missing goes into the `locking written` block, and into the place of what is
wrong; everything else in the files stays byte for byte.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from bellcrank.compilation import Checked
from bellcrank.diagnostics import Span
from bellcrank.file_sets.single_files import write_files
from bellcrank.machine.locking import Needs
from bellcrank.machine.wording import rule_lines, rule_text, rule_with_place
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.proof.repair.missing_rules import Missing, Progress, Repair, missing_rules
from bellcrank.proof.repair.spare_rules import Spare, spare_rules
from bellcrank.syntax import tree as t
from bellcrank.syntax.insert import Edit, edited, lines_at_end, word_for
from bellcrank.syntax.load import Program

REMARK = "# added by bellcrank check --fix"

_MARK = b"\xef\xbb\xbf"
"""What some editors put before UTF-8."""


SECONDS_FOR_FIX = 300.0
"""For finding what is missing, unless a time limit is given."""

SECONDS_FOR_PROPOSAL = 10.0
"""For finding what is missing where nobody has asked for it."""

MOST_ROUTES = 200
"""On larger layouts what is missing is looked for only when somebody asks."""


class NotMendedError(Exception):
    """Nothing was written; the message says why."""


@dataclass(frozen=True, slots=True)
class Mended:
    """What was written: lines added to a block of a file, and wrong rules put right, in
    sentences."""

    file: str
    added: tuple[str, ...]
    replaced: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RulesFound:
    """What is known of rules that are missing, or could be left out.

    repair, spare: None where they were not looked for, or not found soon enough.
    mended: what was written, if anything.
    notes: what to say of it after the verdict.
    """

    repair: Repair | None = None
    spare: Spare | None = None
    mended: Mended | None = None
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

    Raises NotMendedError and OSError as `mend` does.
    """
    if written_block(c.program) is None:
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
    mended = mend(c.program, file, repair.rules)
    notes = [f"added to {mended.file}:"] if mended.added else []
    notes += [f"  {line}" for line in mended.added]
    notes += [f"put right: {sentence}" for sentence in mended.replaced]
    if not repair.smallest:
        notes.append("fewer rules might do, but no proof was found with fewer")
    return RulesFound(repair=repair, mended=mended, notes=(*notes, *still))


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


def _interrupted(c: Checked) -> bool:
    """Whether the user has had enough."""
    return c.moving.stopped == "by Ctrl-C"


def _missing(c: Checked, seconds: float, tell: Progress | None) -> Repair:
    effort = Effort(seconds=seconds)
    return missing_rules(c.layout, c.table, c.locking, c.moving, effort, tell)


def written_block(program: Program) -> t.LockingLine | None:
    """The block of written locking that rules are added to: the last there is."""
    blocks = [line for line in program.of(t.LockingLine) if not line.derive]
    return blocks[-1] if blocks else None


def mend(program: Program, file: Path, missing: Sequence[Missing]) -> Mended:
    """Write missing rules into the files of a layout, into all or none.

    file: the layout's own, which uses the others. Raises NotMendedError if a file is
    not what it was when it was read, and OSError if one cannot be written.
    """
    block = written_block(program)
    if block is None:
        raise NotMendedError("there is no `locking written` block to put rules into")
    lines = rule_lines(rule.rule for rule in missing if not rule.instead_of)
    wrong = list(_wrong(missing))
    own = file.resolve()
    changed: dict[str, bytes] = {}
    for name in program.texts:
        path = own if name == program.files[-1].name else own.parent / name
        spans = [(s, old.position, new.position) for s, old, new in wrong if s.file == name]
        if spans or (lines and block.span.file == name):
            mark, text = source_on_disk(path, own.parent, name, program.texts[name])
            edits = [word_for(text, *place) for place in spans]
            if lines and block.span.file == name:
                edits.append(_into(block, text, lines))
            data = mark + edited(text, edits).encode("utf-8")
            changed[path.resolve().relative_to(own.parent).as_posix()] = data
    write_files(own.parent, changed)
    replaced = [f"{rule_with_place(old)} is now {rule_text(new)}" for _, old, new in wrong]
    return Mended(block.span.file, tuple(lines), tuple(replaced))


def _wrong(missing: Sequence[Missing]) -> Iterator[tuple[Span, Needs, Needs]]:
    """Wrong rules with their places, each with the right one."""
    for rule in missing:
        for wrong in rule.instead_of:
            if wrong.span is not None and isinstance(rule.rule, Needs):
                yield wrong.span, wrong, rule.rule


def _into(block: t.LockingLine, text: str, lines: Sequence[str]) -> Edit:
    first = block.rules[-1].span.line if block.rules else 0
    return lines_at_end(text, block.span, first, lines, REMARK)


def source_on_disk(path: Path, folder: Path, name: str, known: str) -> tuple[bytes, str]:
    """A file as it is on the disk: the mark before its text, if it has one, and its text
    with the line ends it has.

    known: the text as it was read. Raises NotMendedError if it has changed since, or lies
    outside the layout's folder, and OSError if it cannot be read.
    """
    if not path.resolve().is_relative_to(folder):
        raise NotMendedError(f"{name} lies outside the folder of the layout")
    data = path.read_bytes()
    mark = _MARK if data.startswith(_MARK) else b""
    text = data[len(mark) :].decode("utf-8", "replace")
    if text.replace("\r\n", "\n") != known:
        raise NotMendedError(f"{name} has changed since it was read")
    return mark, text
