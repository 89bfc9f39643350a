"""Conditions and changes of variables, for the document."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from bellcrank.document.machine_types import Change, Clause, MachineLiteral, Update
from bellcrank.machine import machine_model as model


class Written:
    """What is said of some variables, with the values in every literal in the order of their
    variable. Each literal is made once: there are many alike."""

    def __init__(self, variables: Mapping[str, model.Variable]) -> None:
        self._place = {
            name: {value: i for i, value in enumerate(v.values)} for name, v in variables.items()
        }
        self._known: dict[model.Is, MachineLiteral] = {}

    def clause(self, clause: model.Clause) -> Clause:
        return [self._literal(literal) for literal in clause]

    def guard(self, guard: Iterable[model.Clause]) -> list[Clause]:
        return [self.clause(clause) for clause in guard]

    def updates(self, updates: Mapping[str, Mapping[str, str]]) -> list[Update]:
        return [
            Update(variable, _becomes(self._ordered(variable, becomes), becomes))
            for variable, becomes in updates.items()
        ]

    def _literal(self, literal: model.Is) -> MachineLiteral:
        found = self._known.get(literal)
        if found is None:
            written = MachineLiteral(literal.variable, self._ordered(*literal))
            found = self._known[literal] = written
        return found

    def _ordered(self, variable: str, values: Iterable[str]) -> list[str]:
        return sorted(values, key=self._place[variable].__getitem__)


def _becomes(values: list[str], becomes: Mapping[str, str]) -> list[Change]:
    """What values become, those together that become the same."""
    together: dict[str, list[str]] = {}
    for value in values:
        together.setdefault(becomes[value], []).append(value)
    return [Change(before, to) for to, before in together.items()]
