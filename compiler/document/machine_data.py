"""The machine as plain data, for the document."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from bellcrank.document.data import Data
from bellcrank.machine.machine_model import Clause, Event, Is, Machine


def machine_data(machine: Machine) -> Data:
    """The machine, with the values in every literal in the order of their variable."""
    place = {
        name: {value: i for i, value in enumerate(v.values)}
        for name, v in machine.variables.items()
    }

    def ordered(variable: str, values: Iterable[str]) -> list[str]:
        return sorted(values, key=place[variable].__getitem__)

    known: dict[Is, list[str]] = {}

    def one_of(literal: Is) -> list[str]:
        values = known.get(literal)
        if values is None:
            values = known[literal] = ordered(*literal)
        return values.copy()

    def clause_data(clause: Clause) -> list[Data]:
        return [{"variable": literal.variable, "one_of": one_of(literal)} for literal in clause]

    def event_data(event: Event) -> Data:
        return {
            "name": event.name,
            "kind": event.kind,
            "actor": event.actor,
            "of": event.of,
            "route": event.route,
            "text": event.text,
            "guard": [clause_data(clause) for clause in event.guard],
            "updates": [
                {"variable": variable, "becomes": _becomes(ordered(variable, values), values)}
                for variable, values in event.updates.items()
            ],
        }

    return {
        "variables": [
            {
                "name": v.name,
                "kind": v.kind,
                "of": v.of,
                "domain": list(v.values),
                "initial": list(v.initial),
            }
            for v in machine.variables.values()
        ],
        "events": [event_data(event) for event in machine.events],
        "invariants": [
            {"of": i.of, "clause": clause_data(i.clause), "sentence": i.sentence}
            for i in machine.invariants
        ],
        "wishes": [{"text": w.text, "routes": list(w.routes)} for w in machine.wishes],
        "lemmas": len(machine.lemmas),
        "assumptions": [{"name": n, "sentence": s} for n, s in machine.assumptions.items()],
    }


def _becomes(values: list[str], becomes: Mapping[str, str]) -> list[Data]:
    """What values become, those together that become the same."""
    together: dict[str, list[str]] = {}
    for value in values:
        together.setdefault(becomes[value], []).append(value)
    return [{"from": before, "to": to} for to, before in together.items()]
