"""The machine and test vectors of it, as the document has them."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta

from bellcrank.document.part import (
    Assumption,
    Count,
    EventName,
    Name,
    Part,
    RouteName,
    Sentence,
    Some,
    SomeUnique,
    Unique,
    Value,
    VariableName,
    about,
)
from bellcrank.machine.machine_model import Actor as WhoActs
from bellcrank.machine.machine_model import EventKind as WhatHappens
from bellcrank.machine.machine_model import VariableKind as WhatItTells

VariableKind = Annotated[
    WhatItTells,
    Meta(
        title="Variable kind",
        description="What a variable tells of. `track`: the train on a stretch of track. `held`: "
        "the route that a section is held for. `route`: how far a route has got. `signal`: what a "
        "signal shows. `drive`: where a drive lies or goes. `edge`: whether part of a train is "
        "still outside an edge.",
    ),
]

EventKind = Annotated[
    WhatHappens, Meta(title="Event kind", description="What sort of thing happens.")
]

Actor = Annotated[WhoActs, Meta(title="Actor", description="Who does it.")]


class MachineVariable(Part):
    """A variable of few values."""

    name: Annotated[
        VariableName, about("Its name, which no other variable has. It may hold spaces.")
    ]
    kind: VariableKind
    of: Annotated[Name, about("The name in the layout of what it tells of.")]
    domain: Annotated[SomeUnique[Value], about("Every value that it may have.")]
    initial: Annotated[
        SomeUnique[Value],
        about(
            "The values that it may have at the start. Variables start independently of each other."
        ),
    ]


class MachineLiteral(Part):
    """That a variable has one of some values."""

    variable: Annotated[VariableName, about("The name of the variable in `machine.variables`.")]
    one_of: Annotated[
        Unique[Value],
        about(
            "It is true while the variable has one of these values, which stand in the order of "
            "its `domain`; with none it is never true."
        ),
    ]


Clause = list[MachineLiteral]
"""True while any of its literals is."""


class Change(Part, rename={"from_": "from"}):
    """Values that become the same."""

    from_: Annotated[SomeUnique[Value], about("The values before the event.")]
    to: Annotated[Value, about("The value after it.")]


class Update(Part):
    """What one variable becomes."""

    variable: Annotated[VariableName, about("The name of the variable in `machine.variables`.")]
    becomes: Annotated[
        Some[Change], about("What each value becomes. A value that is in no `from` stays.")
    ]


class MachineEvent(Part):
    """Something that may happen. It happens as one: all its variables change at once."""

    name: Annotated[EventName, about("Its name, which no other event has. It may hold spaces.")]
    kind: EventKind
    actor: Actor
    of: Annotated[
        Name,
        about(
            "The name in the layout of what it is about: a route, drive, signal, edge or stretch "
            "of track."
        ),
    ]
    route: Annotated[
        RouteName | None,
        about("The route on whose account it happens; null where there is none."),
    ]
    text: Annotated[Sentence, about("What happens, as a sentence without its full stop.")]
    guard: Annotated[
        list[Clause],
        about(
            "It may happen while every one of these clauses is true. A clause is a list of "
            "literals and is true while any of them is; without literals it is never true."
        ),
    ]
    updates: Annotated[
        Some[Update],
        about(
            "What it changes. Variables that are not named stay as they are, and what one "
            "becomes depends on itself alone."
        ),
    ]


class MachineInvariant(Part):
    """Something that must hold in every state that the machine can reach."""

    of: Annotated[
        Sentence,
        about(
            "The property that it belongs to. A property holds if all that belong to it do. An "
            "expectation is named by its text: `expect W1 to T1 never with G1 to T2`.",
            "meetings",
        ),
    ]
    clause: Annotated[
        Clause,
        about(
            "What must be true: a list of literals, which is true while any of them is; without "
            "literals it is never true."
        ),
    ]
    sentence: Annotated[
        Sentence,
        about("What it means that it is not, as a sentence without its full stop."),
    ]


class Wish(Part):
    """Routes whose signals must be able to be off at once."""

    text: Annotated[
        Sentence, about("An expectation by its text, or the name of a route.", "W1 to T1")
    ]
    routes: Annotated[SomeUnique[RouteName], about("The names of the routes.")]


class Machine(Part):
    """The one definition of how the railway behaves: what is proved of it, what a simulator
    runs, and what can be put before another model checker. It starts in any state of `initial`
    values; from each state any event may happen whose guard is true."""

    variables: Annotated[
        Some[MachineVariable], about("Every variable; a state is a value for each.")
    ]
    events: Annotated[Some[MachineEvent], about("Every event.")]
    invariants: Annotated[Some[MachineInvariant], about("What must always hold.")]
    wishes: Annotated[
        list[Wish],
        about(
            "What must be able to happen: for each of these, that the signals of its routes are "
            "off at once in some state."
        ),
    ]
    lemmas: Annotated[
        Count,
        about(
            "How many more clauses the compiler has to try as help for its proof by induction. "
            "They are not listed, and nothing rests on one that was not proved."
        ),
    ]
    assumptions: Annotated[list[Assumption], about("What the machine assumes.")]


# ----------------------------------------------------------------- test vectors

StateVariable = Annotated[str, Meta(pattern="^(track|held|route|signal|drive|edge) ")]

MachineState = dict[StateVariable, Value]
"""Values by the names of their variables."""


class TriedEvent(Part):
    """One event that is tried in a state."""

    event: Annotated[EventName, about("The name of an event in `machine.events`.")]
    possible: Annotated[
        bool, about("Whether every clause of its guard is true in the state before.")
    ]
    changes: Annotated[
        MachineState,
        about(
            "The variables whose values are others after it, by their names in "
            "`machine.variables`, and these values. All others are the same as before. Empty if "
            "the event is not possible, for then it does not happen.",
            {"drive P1": "diverging"},
        ),
    ]


class Run(Part):
    """Events one after another, from a state in which the machine may start."""

    start: Annotated[
        MachineState,
        about(
            "What the variables start with that do not start with the first of their `initial` "
            "values, by their names in `machine.variables`.",
            {"drive P1": "diverging"},
        ),
    ]
    steps: Annotated[
        Some[TriedEvent],
        about(
            "The events that are tried, one after another. One that is not possible leaves the "
            "state as it is."
        ),
    ]


class Case(Part):
    """A state that is set up, and events that are tried in it."""

    given: Annotated[
        MachineState,
        about(
            "What the variables have that do not have the first of their `initial` values, by "
            "their names in `machine.variables`.",
            {"drive P1": "diverging"},
        ),
    ]
    tries: Annotated[
        Some[TriedEvent],
        about(
            "Events that are tried in this state, each of them in this state and not after the "
            "one before."
        ),
    ]


class Covered(Part):
    """How many of one sort of things the vectors try."""

    in_runs: Annotated[Count, about("How many show in runs, and perhaps in cases too.")]
    in_cases: Annotated[Count, about("How many show in cases alone.")]
    left_out: Annotated[
        Count,
        about("How many no vector shows, as there would be too many. 0 for all but large layouts."),
    ]
    impossible: Annotated[Count, about("How many no vector shows, as no state at all can.")]


class Coverage(Part):
    """How much the vectors try."""

    events: Annotated[Covered, about("Of all events, whether they happen.")]
    conditions: Annotated[
        Covered,
        about(
            "Of all clauses of all guards, whether an event is kept from happening by that one "
            "alone."
        ),
    ]
    changes: Annotated[
        Covered, about("Of all values that events change, whether they are changed.")
    ]


class Vectors(Part):
    """What the machine does, step by step. A reader of the machine agrees with the compiler if
    it finds the same `possible` and the same `changes` at every step of every run and in every
    case."""

    runs: Annotated[
        list[Run],
        about(
            "Runs of the machine: each begins in a state in which the machine may start, and each "
            "step begins in the state that the one before it has led to."
        ),
    ]
    cases: Annotated[
        list[Case],
        about(
            "States that are set up, many of which may not be reachable, and what some events do "
            "in each. They try what runs cannot: that each clause of a guard by itself keeps an "
            "event from happening, and every value that an event changes."
        ),
    ]
    covered: Annotated[Coverage, about("How much the vectors try.")]
