"""The controller, as the document has it."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta

from bellcrank.controller.controller_model import InputKind as WhatComesIn
from bellcrank.controller.controller_model import TimerKind as WhatIsWaitedFor
from bellcrank.document.machine_types import Clause, Update, VariableKind
from bellcrank.document.part import (
    AspectName,
    DriveName,
    Milliseconds,
    Name,
    Part,
    PositionName,
    RouteName,
    SectionName,
    Sentence,
    SignalName,
    Some,
    SomeUnique,
    Value,
    VariableName,
    about,
)

InputKind = Annotated[
    WhatComesIn,
    Meta(
        title="Input kind",
        description="What comes in. `occupied`, `clear`: a section is reported so, and was "
        "reported otherwise before. `lies`: a drive is reported in a position. `time over`: a "
        "timer has run out. `request`, `cancel`: a person asks for a route or cancels it. "
        "`confirm passed`: a person has seen that the train of a route has passed its signal. "
        "`confirm arrived`: a person has seen that the train of a route stands whole where the "
        "route ends.",
    ),
]

TimerKind = Annotated[
    WhatIsWaitedFor,
    Meta(
        title="Timer kind",
        description="What a timer waits for. `approach locking`: that a train which could not "
        "stop any more has passed. `overlap`: that a train has come to stand at the end of its "
        "route. `drive`: that a drive has come to lie.",
    ),
]


class ControllerVariable(Part):
    """A variable of the controller, of few values."""

    name: Annotated[
        VariableName,
        about("Its name, which no other variable of the controller has.", "lamp W1"),
    ]
    kind: VariableKind
    of: Annotated[
        Name,
        about("The section, drive, signal or route that it tells of, by its name."),
    ]
    domain: Annotated[SomeUnique[Value], about("Every value that it may have.")]
    initial: Annotated[Value, about("The value that it has at the start.")]


class Reaction(Part):
    """What the controller does at an input, or of itself. It changes all its variables at once."""

    name: Annotated[
        Name,
        about("Its name, which no other reaction or step has.", "request W1 to T1"),
    ]
    text: Annotated[Sentence, about("What happens, as a sentence without its full stop.")]
    guard: Annotated[
        list[Clause],
        about(
            "It is possible while every one of these clauses is true. A clause is a list of "
            "literals and is true while any of them is; without literals it is never true."
        ),
    ]
    updates: Annotated[
        list[Update],
        about(
            "What it changes. Variables that are not named stay as they are, and what one "
            "becomes depends on itself alone."
        ),
    ]
    route: Annotated[
        RouteName | None,
        about("The route on whose account it happens; null where there is none."),
    ]


class ControllerInput(Part):
    """Something that may come in, and what the controller does then."""

    kind: InputKind
    of: Annotated[
        Name,
        about(
            "What it is about: the name of a section (`occupied`, `clear`), of a drive (`lies`), "
            "of a route (`request`, `cancel`, `confirm passed`, `confirm arrived`), or of the "
            "variable that a timer ran for (`time over`).",
            "NECK",
            "W1 to T1",
        ),
    ]
    value: Annotated[
        Value | None,
        about(
            "The position that a drive is reported in (`lies`), or the value that the timer ran "
            "for (`time over`); null for all others.",
            "straight",
        ),
    ]
    reactions: Annotated[
        list[Reaction],
        about(
            "The first of these whose guard is true takes effect. If there is none, a request, "
            "cancel or confirmation is refused and changes nothing, and any other input raises "
            "the alarm."
        ),
    ]


class Timer(Part):
    """A time that begins when a variable comes to have a value; that of a drive when the drive has
    been thrown after that. If the variable has kept its value until the time is over, that is an
    input of the kind `time over`."""

    kind: TimerKind
    of: Annotated[
        Name,
        about(
            "What the time is of: the signal that was put to stop (`approach locking`), the "
            "signal, edge or stop where the route ends (`overlap`), or the drive (`drive`)."
        ),
    ]
    variable: Annotated[VariableName, about("The name of the variable.", "lamp W1")]
    value: Annotated[
        Value, about("The value for which it runs.", "just put back to stop", "to straight")
    ]
    milliseconds: Annotated[Milliseconds, about("How long it runs, in milliseconds.")]


class SectionReported(Part):
    """How a variable tells what was reported of a section."""

    variable: Annotated[VariableName, about("The name of the variable.", "report NECK")]
    section: Annotated[SectionName, about("The name of the section in `layout.sections`.")]
    when_occupied: Annotated[
        Value, about("The value that says that it was reported occupied.", "reported occupied")
    ]
    when_clear: Annotated[
        Value, about("The value that says that it was reported clear.", "reported clear")
    ]


class Shown(Part):
    """What a signal shows while a variable has a value."""

    value: Annotated[Value, about("A value of the variable.", "at stop", "W1 to T1")]
    aspect: Annotated[AspectName, about("The aspect that the signal shows then.")]
    off: Annotated[bool, about("Whether it is something else than stop.")]


class SignalLamp(Part):
    """What a signal is to show, as a variable tells."""

    variable: Annotated[VariableName, about("The name of the variable.", "lamp W1")]
    signal: Annotated[SignalName, about("The name of the signal in `layout.signals`.")]
    shows: Annotated[
        Some[Shown], about("What it shows for each value, in the order of the `domain`.")
    ]


class DriveValue(Part):
    """What a value tells of a drive. With neither position nobody knows where it lies."""

    value: Annotated[Value, about("A value of the variable.", "straight", "to straight")]
    lies: Annotated[
        PositionName | None,
        about("The position in which it is known to lie; null where it is not known to."),
    ]
    thrown_to: Annotated[
        PositionName | None,
        about(
            "The position to which it is thrown: send the command once, when the variable comes to "
            "have the value. Null where it is not thrown."
        ),
    ]


class DriveThrow(Part):
    """Where a drive lies or is to be thrown, as a variable tells."""

    variable: Annotated[VariableName, about("The name of the variable.", "lying P1")]
    drive: Annotated[DriveName, about("The name of the drive in `layout.drives`.")]
    reports: Annotated[
        bool,
        about(
            "Whether it reports its position. At the start such a drive is taken to lie where it "
            "is reported; of any other nobody knows."
        ),
    ]
    meanings: Annotated[
        Some[DriveValue], about("What each value tells, in the order of the `domain`.")
    ]


class RouteProgress(Part):
    """How a variable tells how far a route has got."""

    variable: Annotated[VariableName, about("The name of the variable.", "progress W1 to T1")]
    route: Annotated[RouteName, about("The name of the route in `routes`.")]
    idle: Annotated[
        Value,
        about("The value that says that it is not set; with any other it is in use.", "idle"),
    ]


class SectionHeld(Part):
    """How a variable tells the route that a section is held for."""

    variable: Annotated[VariableName, about("The name of the variable.", "held NECK")]
    section: Annotated[SectionName, about("The name of the section in `layout.sections`.")]
    free: Annotated[
        Value,
        about(
            "The value that says that it is held for none; any other is the name of the route.",
            "not held",
        ),
    ]


class Controller(Part):
    """What runs the railway: from reports, requests and times to signals and throws. For one state
    and one input there is one next state. At an input the first of its reactions whose guard is
    true takes effect. Then it goes through `steps` in their order and does each whose guard is
    true, again and again, until none is."""

    variables: Annotated[
        Some[ControllerVariable], about("Every variable; a state is a value for each.")
    ]
    inputs: Annotated[
        Some[ControllerInput],
        about("Every input. No two have the same `kind`, `of` and `value`."),
    ]
    steps: Annotated[
        list[Reaction],
        about("What it does of itself after each input, in this order."),
    ]
    timers: Annotated[list[Timer], about("Every time that may have to be waited for.")]
    reports: Annotated[
        list[SectionReported],
        about("Of each detected section, which variable tells of its report."),
    ]
    lamps: Annotated[
        list[SignalLamp],
        about("What each signal shows. Outputs are read after the steps, never between them."),
    ]
    throws: Annotated[
        list[DriveThrow],
        about(
            "Where each drive lies or is thrown. Outputs are read after the steps, never between "
            "them."
        ),
    ]
    progress: Annotated[
        Some[RouteProgress], about("Of each route, which variable tells how far it has got.")
    ]
    held: Annotated[
        list[SectionHeld],
        about("Of each section of a route, which variable tells what it is held for."),
    ]
