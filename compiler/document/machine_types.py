"""The machine, as the document has it."""

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
        "still outside an edge. Of the controller: `report`: what was reported of a section last. "
        "`lying`: where a drive is known to lie or was sent. `lamp`: what a signal is to show. "
        "`progress`: how far a route has got, as far as reports tell. `broken`, of no machine or "
        "controller here: where an assumption is broken.",
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

    variable: Annotated[VariableName, about("The name of the variable.")]
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

    variable: Annotated[VariableName, about("The name of the variable.")]
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
