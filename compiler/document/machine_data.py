"""The machine, for the document."""

from __future__ import annotations

from bellcrank.document import machine_types
from bellcrank.document.clause_data import Written
from bellcrank.document.part import Assumption
from bellcrank.machine.machine_model import Machine


def machine_data(machine: Machine) -> machine_types.Machine:
    """The machine, with the values in every literal in the order of their variable."""
    written = Written(machine.variables)
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
        events=[
            machine_types.MachineEvent(
                name=event.name,
                kind=event.kind,
                actor=event.actor,
                of=event.of,
                route=event.route,
                text=event.text,
                guard=written.guard(event.guard),
                updates=written.updates(event.updates),
            )
            for event in machine.events
        ],
        invariants=[
            machine_types.MachineInvariant(
                of=i.of, clause=written.clause(i.clause), sentence=i.sentence
            )
            for i in machine.invariants
        ],
        wishes=[machine_types.Wish(text=w.text, routes=list(w.routes)) for w in machine.wishes],
        lemmas=len(machine.lemmas),
        assumptions=[Assumption(name=n, sentence=s) for n, s in machine.assumptions.items()],
    )
