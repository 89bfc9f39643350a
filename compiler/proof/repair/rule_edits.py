"""Missing rules put into the text of a layout.

What is missing goes into the `locking written` block, and into the place of what is
wrong; everything else stays byte for byte.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from bellcrank.diagnostics import Span
from bellcrank.machine.locking import Needs
from bellcrank.machine.wording import rule_lines, rule_text, rule_with_place
from bellcrank.proof.repair.missing_rules import Missing
from bellcrank.syntax import tree as t
from bellcrank.syntax.insert import Edit, edited, lines_at_end, word_for
from bellcrank.syntax.load import Program

REMARK = "# added by bellcrank check --fix"


@dataclass(frozen=True, slots=True)
class _Wrong:
    """A written rule that is wrong, its place, and the right one."""

    span: Span
    old: Needs
    new: Needs


@dataclass(frozen=True, slots=True)
class RuleEdits:
    """What is to be written.

    block: the block of written locking that lines are added to.
    lines: rules that are added. wrong: rules that are put right.
    """

    block: t.LockingLine
    lines: tuple[str, ...]
    wrong: tuple[_Wrong, ...]

    @property
    def files(self) -> tuple[str, ...]:
        """The names of the files that change."""
        names = dict.fromkeys(wrong.span.file for wrong in self.wrong)
        return tuple(names | ({self.block.span.file: None} if self.lines else {}))

    @property
    def replaced(self) -> tuple[str, ...]:
        """What is put right, in sentences."""
        return tuple(
            f"{rule_with_place(wrong.old)} is now {rule_text(wrong.new)}" for wrong in self.wrong
        )

    def edit(self, name: str, text: str) -> str:
        """The new text of a file."""
        edits = [
            word_for(text, wrong.span, wrong.old.position, wrong.new.position)
            for wrong in self.wrong
            if wrong.span.file == name
        ]
        if self.lines and self.block.span.file == name:
            edits.append(self._added(text))
        return edited(text, edits)

    def _added(self, text: str) -> Edit:
        first = self.block.rules[-1].span.line if self.block.rules else 0
        return lines_at_end(text, self.block.span, first, self.lines, REMARK)


def written_block(program: Program) -> t.LockingLine | None:
    """The block of written locking that rules are added to: the last there is."""
    blocks = [line for line in program.of(t.LockingLine) if not line.derive]
    return blocks[-1] if blocks else None


def rule_edits(block: t.LockingLine, missing: Sequence[Missing]) -> RuleEdits:
    """The edits that put missing rules into a block, and into the place of wrong ones."""
    lines = rule_lines(rule.rule for rule in missing if not rule.instead_of)
    return RuleEdits(block, tuple(lines), tuple(_wrong(missing)))


def _wrong(missing: Sequence[Missing]) -> Iterator[_Wrong]:
    for rule in missing:
        for wrong in rule.instead_of:
            if wrong.span is not None and isinstance(rule.rule, Needs):
                yield _Wrong(wrong.span, wrong, rule.rule)
