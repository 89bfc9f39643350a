"""What a railway notices of broken assumptions, as the document has it."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta

from bellcrank.controller.breakings import AccidentName as Accident
from bellcrank.controller.breakings import AlarmOutcome as AlarmRaised
from bellcrank.controller.breakings import Breaking as KindBroken
from bellcrank.document.machine_types import Actor
from bellcrank.document.part import (
    DrivePosition,
    EventName,
    Part,
    Place,
    Sentence,
    Some,
    Value,
    VariableName,
    about,
)
from bellcrank.document.verdict_types import MovingOutcome

Breaking = Annotated[
    KindBroken, Meta(title="Breaking", description="An assumption that may be broken, by its kind.")
]

AlarmOutcome = Annotated[
    AlarmRaised,
    Meta(
        title="Alarm outcome",
        description="Whether the controller raises the alarm. `first report`: always, with the "
        "first report that tells of it. `first report or later`: with that one, if it does not "
        "mean something else just then. `later`: no report tells of it by itself, but later ones "
        "may not be explained. `none`: never. `undecided`: not decided.",
    ),
]

AccidentName = Annotated[
    Accident,
    Meta(
        title="Accident name",
        description="`meetings`: trains meet. `derailments`: a train comes off the rails. "
        "`drives`: points move under a train.",
    ),
]


class ValueReached(Part):
    """What a variable is from a step of a story on."""

    variable: Annotated[
        VariableName,
        about(
            "The variable's name, in `machine` or, of what is reported and what the controller "
            "takes to be so, in `controller`.",
            "track A",
        ),
    ]
    value: Annotated[Value, about("Its value.", "clear")]


class NoticedStep(Part):
    """One step of a story in which an assumption is broken."""

    sentence: Annotated[Sentence, about("What happens, as a sentence without its full stop.")]
    event: Annotated[
        EventName,
        about(
            "The event's name: in `machine`, or of what breaks the assumption, or of a reaction of "
            "the controller."
        ),
    ]
    actor: Annotated[Actor, about("Who does it; the controller is the interlocking.")]
    place: Annotated[
        Place | None,
        about("Where it stands in the source, as file:line:column; null where it has no place."),
    ]
    breaks: Annotated[bool, about("Whether it is this by which the assumption is broken.")]
    changes: Annotated[
        list[ValueReached],
        about("What it changes: on the track, in what is reported, and for the controller."),
    ]


class AlarmStep(Part):
    """What comes in after the last event of a story and raises the alarm: the controller has no
    reaction to it, so it is no event of the machine."""

    sentence: Annotated[Sentence, about("What comes in, as a sentence without its full stop.")]
    changes: Annotated[
        list[ValueReached],
        about("What the alarm changes: the report is taken in, and every signal goes to stop."),
    ]


class NoticedStory(Part):
    """How it comes to an alarm, or to an accident before one, from rest."""

    start: Annotated[
        list[DrivePosition],
        about("Drives that do not lie in their first position at the start."),
    ]
    steps: Annotated[list[NoticedStep], about("The events in their order.")]
    alarm: Annotated[
        AlarmStep | None,
        about("With what the alarm is raised in the end; null of a story that comes to none."),
    ]
    ending: Annotated[
        Sentence,
        about("What has come of it after the last step, as a sentence without its full stop."),
    ]
    shortest: Annotated[bool, about("Whether no run of the whole machine is shorter.")]


class AccidentBefore(Part):
    """Whether one kind of accident can happen before the alarm."""

    name: AccidentName
    sentence: Annotated[Sentence, about("What can happen, as a sentence without its full stop.")]
    outcome: Annotated[
        MovingOutcome,
        about("`proved`: it cannot happen. `refuted`: it can, and `story` tells how."),
    ]
    story: Annotated[NoticedStory | None, about("How it happens; null unless it is refuted.")]


class NoticedKind(Part):
    """What comes of one kind of assumption if it is broken once, at any moment."""

    broken: Breaking
    places: Annotated[
        list[Sentence],
        about("The places at which it may be broken; empty for anywhere on the layout."),
    ]
    sentence: Annotated[Sentence, about("What happens, as a sentence without its full stop.")]
    alarm: AlarmOutcome
    alarm_sentence: Annotated[Sentence, about("When the alarm is raised, in words.")]
    alarm_story: Annotated[
        NoticedStory | None, about("How it comes to the alarm, for example; null if it never does.")
    ]
    accidents: Annotated[Some[AccidentBefore], about("What can happen before the alarm.")]
    before_sentence: Annotated[Sentence, about("What can happen before the alarm, in words.")]


class NoticedTold(Part):
    """What `check` tells of broken assumptions beside the report."""

    noticed: Annotated[
        list[NoticedKind] | None,
        about("What comes of each; null if it was not asked for, or no controller is proved."),
    ]
