"""Missing rules put into the text of a layout.

What is missing goes into the `locking written` block, and into the place of what is
wrong; everything else stays byte for byte.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from bellcrank.diagnostics import Span
from bellcrank.machine.locking import Needs, OnlyOne
from bellcrank.machine.wording import rule_lines, rule_text, rule_with_place
from bellcrank.proof.repair.repair_model import Missing
from bellcrank.routes.sentences import listed
from bellcrank.syntax import tree as t
from bellcrank.syntax.insert import Edit, edited, lines_at_end, list_for, word_for
from bellcrank.syntax.load import Program

REMARK = "# added by bellcrank check --fix"


@dataclass(frozen=True, slots=True)
class _Wrong:
    """A written rule that is wrong, its place, and the right one."""

    span: Span
    old: Needs
    new: Needs


@dataclass(frozen=True, slots=True)
class _Grown:
    """A written group that lacks routes, its place, and the routes."""

    span: Span
    lacking: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RuleEdits:
    """What is to be written.

    block: the block of written locking that lines are added to.
    lines: rules that are added. wrong: rules that are put right. grown: groups that get
        the routes that they lack.
    """

    block: t.LockingLine
    lines: tuple[str, ...]
    wrong: tuple[_Wrong, ...]
    grown: tuple[_Grown, ...] = ()

    @property
    def files(self) -> tuple[str, ...]:
        """The names of the files that change."""
        places = [*(wrong.span for wrong in self.wrong), *(group.span for group in self.grown)]
        names = dict.fromkeys(place.file for place in places)
        return tuple(names | ({self.block.span.file: None} if self.lines else {}))

    @property
    def replaced(self) -> tuple[str, ...]:
        """What is put right, in sentences."""
        right = [f"{rule_with_place(w.old)} is now {rule_text(w.new)}" for w in self.wrong]
        right += [f"the `only one of` at {g.span} now has {listed(g.lacking)}" for g in self.grown]
        return tuple(right)

    def edit(self, name: str, text: str) -> str:
        """The new text of a file."""
        edits = [
            word_for(text, wrong.span, wrong.old.position, wrong.new.position)
            for wrong in self.wrong
            if wrong.span.file == name
        ]
        edits += [
            list_for(text, grown.span, grown.lacking)
            for grown in self.grown
            if grown.span.file == name
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
    return RuleEdits(block, tuple(lines), tuple(_wrong(missing)), tuple(_grown(missing)))


def _wrong(missing: Sequence[Missing]) -> Iterator[_Wrong]:
    for rule in missing:
        for wrong in rule.instead_of:
            if wrong.span is None:
                continue
            if isinstance(rule.rule, Needs) and isinstance(wrong, Needs):
                yield _Wrong(wrong.span, wrong, rule.rule)


def _grown(missing: Sequence[Missing]) -> Iterator[_Grown]:
    for rule in missing:
        for group in rule.instead_of:
            if group.span is not None and isinstance(group, OnlyOne):
                yield _Grown(group.span, rule.lacking)
