"""Rules that are missing, or could be left out, as `check --json` tells them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Annotated

from bellcrank.document.part import Part, Place, RouteName, Sentence, about
from bellcrank.machine.wording import Rule, rule_text
from bellcrank.proof.repair.rules_found import RulesFound


class MissingRule(Part):
    """A rule that is missing."""

    rule: Annotated[Sentence, about("The rule as it would be written.")]
    instead_of: Annotated[list[Place], about("Where the written rules stand that it replaces.")]


class WrittenRule(Part):
    """A rule of the layout."""

    rule: Annotated[Sentence, about("The rule as it is written.")]
    place: Annotated[Place | None, about("Where it stands; null if it was derived.")]


class Fixed(Part):
    """What was written into the layout."""

    file: Annotated[str, about("The file in which lines were added.")]
    added: Annotated[list[Sentence], about("The lines that were added.")]
    replaced: Annotated[list[Sentence], about("The rules that were put right, in sentences.")]


class RulesTold(Part):
    """What was found of rules; null for what was not looked for or not found."""

    missing_rules: Annotated[list[MissingRule] | None, about("Rules that would mend it.")]
    redundant_rules: Annotated[
        list[WrittenRule] | None, about("Rules that could be left out, all together.")
    ]
    fixed: Annotated[Fixed | None, about("What was written into the layout.")]
    barred_routes: Annotated[
        dict[RouteName, list[WrittenRule]],
        about("Routes that can never be set, each with the rules that make it so."),
    ]


def rules_data(found: RulesFound, barred: Mapping[str, Sequence[Rule]]) -> RulesTold:
    """Rules found. barred: of routes that can never be set, the rules that make it so."""
    repair, redundant, written = found.repair, found.spare, found.written
    return RulesTold(
        missing_rules=None
        if repair is None
        else [
            MissingRule(
                rule=rule_text(m.rule), instead_of=[str(wrong.span) for wrong in m.instead_of]
            )
            for m in repair.rules
            if repair.mends
        ],
        redundant_rules=None if redundant is None else _placed(redundant.rules),
        fixed=None
        if written is None and not found.righted
        else Fixed(
            file=found.righted_in if written is None else written.block.span.file,
            added=[] if written is None else list(written.lines),
            replaced=[*found.righted, *(() if written is None else written.replaced)],
        ),
        barred_routes={name: _placed(rules) for name, rules in barred.items()},
    )


def _placed(rules: Iterable[Rule]) -> list[WrittenRule]:
    return [
        WrittenRule(rule=rule_text(rule), place=str(rule.span) if rule.span else None)
        for rule in rules
    ]
