"""The machine, for the document."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from bellcrank.document import machine_types
from bellcrank.document.machine_types import Change, MachineLiteral
from bellcrank.document.part import Assumption
from bellcrank.machine.machine_model import Clause, Event, Is, Machine


def machine_data(machine: Machine) -> machine_types.Machine:
    """The machine, with the values in every literal in the order of their variable."""
    place = {
        name: {value: i for i, value in enumerate(v.values)}
        for name, v in machine.variables.items()
    }

    def ordered(variable: str, values: Iterable[str]) -> list[str]:
        return sorted(values, key=place[variable].__getitem__)

    known: dict[Is, MachineLiteral] = {}

    def literal_data(literal: Is) -> MachineLiteral:
        found = known.get(literal)
        if found is None:
            found = known[literal] = MachineLiteral(literal.variable, ordered(*literal))
        return found

    def clause_data(clause: Clause) -> machine_types.Clause:
        return [literal_data(literal) for literal in clause]

    def event_data(event: Event) -> machine_types.MachineEvent:
        return machine_types.MachineEvent(
            name=event.name,
            kind=event.kind,
            actor=event.actor,
            of=event.of,
            route=event.route,
            text=event.text,
            guard=[clause_data(clause) for clause in event.guard],
            updates=[
                machine_types.Update(variable, _becomes(ordered(variable, values), values))
                for variable, values in event.updates.items()
            ],
        )

    return machine_types.Machine(
        variables=[
            machine_types.MachineVariable(
                name=v.name,
                kind=v.kind,
                of=v.of,
                domain=list(v.values),
                initial=list(v.initial),
            )
            for v in machine.variables.values()
        ],
        events=[event_data(event) for event in machine.events],
        invariants=[
            machine_types.MachineInvariant(
                of=i.of, clause=clause_data(i.clause), sentence=i.sentence
            )
            for i in machine.invariants
        ],
        wishes=[machine_types.Wish(text=w.text, routes=list(w.routes)) for w in machine.wishes],
        lemmas=len(machine.lemmas),
        assumptions=[Assumption(name=n, sentence=s) for n, s in machine.assumptions.items()],
    )


def _becomes(values: list[str], becomes: Mapping[str, str]) -> list[Change]:
    """What values become, those together that become the same."""
    together: dict[str, list[str]] = {}
    for value in values:
        together.setdefault(becomes[value], []).append(value)
    return [Change(before, to) for to, before in together.items()]
