"""Test vectors of the machine and of the controller, as the document has them."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta

from bellcrank.document.controller_types import InputKind
from bellcrank.document.part import (
    AspectName,
    Count,
    DrivePosition,
    EventName,
    Name,
    Part,
    SectionName,
    SignalName,
    Some,
    Unique,
    Value,
    about,
)

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


# ------------------------------------------------------ vectors of the controller

ControllerStateVariable = Annotated[str, Meta(pattern="^(report|lying|lamp|progress|held) ")]

ControllerState = dict[ControllerStateVariable, Value]
"""Values by the names of the controller's variables."""


class SignalAspect(Part):
    """A signal and one of its aspects."""

    signal: Annotated[SignalName, about("The name of the signal in `layout.signals`.")]
    aspect: Annotated[AspectName, about("One of the aspects of that signal.")]


class GivenInput(Part):
    """An input, and what comes of it."""

    kind: InputKind
    of: Annotated[Name, about("As in `controller.inputs`.")]
    value: Annotated[Value | None, about("As in `controller.inputs`.")]
    granted: Annotated[
        bool,
        about(
            "Whether it takes effect. One that does not is refused: nothing changes and nothing "
            "is put out."
        ),
    ]
    signals: Annotated[
        list[SignalAspect],
        about(
            "The signals that show another aspect after it than before, in the order of `lamps`."
        ),
    ]
    throws: Annotated[
        list[DrivePosition],
        about("The drives that are thrown after it, in the order of `controller.throws`."),
    ]
    changes: Annotated[
        ControllerState,
        about(
            "The variables whose values are others after it and after the steps, by their names "
            "in `controller.variables`, and these values. All others are the same as before.",
            {"report NECK": "reported occupied"},
        ),
    ]


class UnexplainedInput(Part):
    """An input that raises the alarm if it comes at a place of a run. Nothing of the run comes
    of that: it goes on as if the input had not been given."""

    after: Annotated[Count, about("How many of the `inputs` of the run come before it.")]
    kind: InputKind
    of: Annotated[Name, about("As in `controller.inputs`.")]
    value: Annotated[Value | None, about("As in `controller.inputs`.")]
    signals: Annotated[
        list[SignalAspect],
        about(
            "The signals that were off and show stop after it, in the order of `controller.lamps`."
        ),
    ]


class InputRun(Part):
    """A start, and inputs one after another."""

    occupied: Annotated[
        Unique[SectionName], about("The sections that are reported occupied at the start.")
    ]
    lies: Annotated[
        list[DrivePosition],
        about("The positions that drives are reported in at the start; of others nothing is."),
    ]
    inputs: Annotated[list[GivenInput], about("The inputs, in their order.")]
    alarms: Annotated[
        list[UnexplainedInput],
        about("Inputs that nothing explains, each tried by itself at its place in the run."),
    ]


class Tried(Part):
    """How many of one sort of things the runs of the controller try."""

    in_runs: Annotated[Count, about("How many show in runs.")]
    not_shown: Annotated[
        Count,
        about("How many do not: there would be too many, or nothing was found that leads to them."),
    ]


class ControllerCoverage(Part):
    """How much the runs of the controller try."""

    reactions: Annotated[Tried, about("Of all reactions at inputs, whether they take effect.")]
    steps: Annotated[Tried, about("Of all steps, whether they happen.")]
    refused: Annotated[
        Tried, about("Of all requests, cancels and confirmations, whether they are refused.")
    ]
    alarms: Annotated[
        Tried, about("Of all reports and times that are over, whether they raise the alarm.")
    ]


class ControllerVectors(Part):
    """What the controller does, input by input. A reader of the controller agrees with the
    compiler if it finds the same at every input. `runs` is empty for very large layouts."""

    runs: Annotated[
        list[InputRun],
        about(
            "Runs that the railway of the layout can bring about, with the reports that its trains "
            "cause."
        ),
    ]
    covered: Annotated[ControllerCoverage, about("How much the runs try.")]


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
    controller: Annotated[
        ControllerVectors | None,
        about("What the controller does, input by input; null if there is none."),
    ]
