"""What a railway notices of broken assumptions, as the document has it."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta

from bellcrank.controller.breakings import AccidentName as Accident
from bellcrank.controller.breakings import AlarmOutcome as AlarmRaised
from bellcrank.controller.breakings import Breaking as KindBroken
from bellcrank.document.part import Part, Sentence, Some, about
from bellcrank.document.verdict_types import MovingOutcome, Story

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


class AccidentBefore(Part):
    """Whether one kind of accident can happen before the alarm."""

    name: AccidentName
    sentence: Annotated[Sentence, about("What can happen, as a sentence without its full stop.")]
    outcome: Annotated[
        MovingOutcome,
        about("`proved`: it cannot happen. `refuted`: it can, and `story` tells how."),
    ]
    story: Annotated[Story | None, about("How it happens; null unless it is refuted.")]


class NoticedKind(Part):
    """What comes of one kind of assumption if it is broken once, at any moment and place."""

    broken: Breaking
    sentence: Annotated[Sentence, about("What happens, as a sentence without its full stop.")]
    alarm: AlarmOutcome
    alarm_sentence: Annotated[Sentence, about("When the alarm is raised, in words.")]
    alarm_story: Annotated[
        Story | None, about("How it comes to the alarm, for example; null if it never does.")
    ]
    accidents: Annotated[Some[AccidentBefore], about("What can happen before the alarm.")]
    before_sentence: Annotated[Sentence, about("What can happen before the alarm, in words.")]


class NoticedTold(Part):
    """What `check` tells of broken assumptions beside the report."""

    noticed: Annotated[
        list[NoticedKind] | None,
        about("What comes of each; null if it was not asked for, or no controller is proved."),
    ]
