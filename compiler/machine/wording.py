"""A rule of the locking in the words in which it is written."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

from bellcrank.diagnostics import Span
from bellcrank.machine.locking import Locks, Needs, NeedsClear, NeedsSet, OnlyOne, OnlyOneOver

WIDTH = 90
"""A list grown longer than this goes on as another rule."""


@dataclass(frozen=True, slots=True)
class Every:
    """A rule for all routes or all drives at once, by what each of them needs."""

    needs: Literal["positions", "sections clear", "section clear"]
    span: Span | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class InGroup:
    """That a route is one of a written group."""

    route: str
    span: Span | None = field(default=None, compare=False)


Rule = Locks | Needs | NeedsSet | NeedsClear | OnlyOne | OnlyOneOver | InGroup | Every


def rule_text(rule: Rule) -> str:
    """A rule as it would be written in a `locking written` block."""
    head, rest, when = _parts(rule)
    return f"{head}{rest}{when}"


def rule_with_place(rule: Rule) -> str:
    """A rule as it is written, and where; a derived one has no place."""
    return f"{rule_text(rule)} ({rule.span or 'derived'})"


def rule_lines(rules: Iterable[Rule]) -> list[str]:
    """Rules as lines, those that begin alike joined to lists in the place of the first."""
    rules = list(rules)
    several = sum(isinstance(rule, OnlyOneOver) for rule in rules) > 1
    lists: dict[tuple[str, str], list[str]] = {}
    for rule in rules:
        head, rest, when = _parts(rule)
        if several and isinstance(rule, OnlyOneOver):
            head += "each of "
        texts = lists.setdefault((head, when), [])
        if texts and len(head + texts[-1] + rest + when) + 2 <= WIDTH:
            texts[-1] += f", {rest}"
        else:
            texts.append(rest)
    return [f"{head}{text}{when}" for (head, when), texts in lists.items() for text in texts]


def _parts(rule: Rule) -> tuple[str, str, str]:
    """How a rule begins, what a list could go on with, and how it ends."""
    match rule:
        case OnlyOneOver(section=section) | Locks(over=str(section)):
            return "only one route over ", section, ""
        case Locks():
            when = ", ".join(f"{drive} {position}" for drive, position in rule.when)
            return f"{rule.first} locks ", rule.second, f" when {when}" if when else ""
        case Needs():
            return f"{rule.route} needs ", f"{rule.drive} {rule.position}", ""
        case NeedsSet():
            return f"{rule.route} needs ", f"{rule.other} set", ""
        case NeedsClear():
            return f"{rule.route} needs ", f"{rule.section} clear", ""
        case OnlyOne():
            # Two groups are never one list.
            return f"only one of {', '.join(rule.routes)}", "", ""
        case InGroup():
            return f"{rule.route} in its `only one of`", "", ""
        case Every():
            who = "drive" if rule.needs == "section clear" else "route"
            return f"every {who} needs its {rule.needs}", "", ""
